"""Types in a reference tape: one question after another, and a sheet at the end."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from textual.app import App

from bench.problem import Problem
from bench.tui.reference_tape_form import QUESTIONS, checked, write_sheet
from bench.tui.screens.dialogs import AskText


class TypeInTape:
    """The questions about one reference tape; an answer that can't be read is asked for again.

    Args:
        app: the app.
        folder: where reference-tape sheets lie.
        then: called with the sheet that was written.
        say: called with what went wrong in writing it.
    """

    def __init__(self, app: App[Any], folder: Path, then: Callable[[Path], None], say: Callable[[str], None]) -> None:
        self._app, self._folder, self._then, self._say = app, folder, then, say
        self._answers: dict[str, str] = {}

    def ask(self, trouble: str = "") -> None:
        """Ask the next question, or write the sheet after the last."""
        key = next((k for k in QUESTIONS if k not in self._answers), None)
        if key is None:
            self._write()
            return
        question = f"{trouble}. {QUESTIONS[key]}" if trouble else QUESTIONS[key]
        self._app.push_screen(AskText(question, "goes on"), lambda said: self._take(key, said))

    def _take(self, key: str, said: str | None) -> None:
        if said is None:
            return
        try:
            checked(key, said)
        except Problem as problem:
            self.ask(problem.sentence)
        else:
            self._answers[key] = said
            self.ask()

    def _write(self) -> None:
        try:
            path = write_sheet(self._folder, self._answers)
        except Problem as problem:
            self._say(problem.sentence)
        else:
            self._then(path)
