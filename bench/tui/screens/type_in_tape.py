"""Dialogs to type in a reference tape or a set: one question after another, and a sheet at the end."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from textual.app import App

from bench.problem import Problem
from bench.tui.reference_tape_form import OF_A_SET, QUESTIONS, checked, next_question, write_set, write_sheet
from bench.tui.screens.dialogs import AskText, Confirm

ANOTHER = "The sheet is written. Does another tape belong with it, such as one for azimuth or for speed?"
NAME_OF_SET = "What is the set of these {count} tapes called?"


class TypeInTape:
    """Asks about one reference tape after another; an answer that can't be read is asked for again.

    Args:
        app: the app.
        folder: folder of the reference-tape sheets.
        then: called with the sheet of the tape or set that was written.
        say: called with the reason when it can't be written.
    """

    def __init__(self, app: App[Any], folder: Path, then: Callable[[Path], None], say: Callable[[str], None]) -> None:
        self._app, self._folder, self._then, self._say = app, folder, then, say
        self._answers: dict[str, str] = {}
        self._tapes: list[Path] = []

    def ask(self, trouble: str = "") -> None:
        """Ask the next question, or write the sheet after the last."""
        key = next_question(self._answers)
        if key is None:
            self._write()
            return
        question = f"{trouble}. {QUESTIONS[key]}" if trouble else QUESTIONS[key]
        self._app.push_screen(AskText(question, "goes on"), lambda said: self._take(key, said))

    def _take(self, key: str, said: str | None) -> None:
        if said is None:
            self._end()
            return
        try:
            checked(self._answers | {key: said})
        except Problem as problem:
            self.ask(problem.sentence)
        else:
            self._answers[key] = said
            self.ask()

    def _write(self) -> None:
        try:
            self._tapes.append(write_sheet(self._folder, self._answers))
        except Problem as problem:
            self._say(problem.sentence)
        else:
            self._app.push_screen(Confirm(ANOTHER, "type it in", "that is all"), self._take_another)

    def _take_another(self, said: str | None) -> None:
        if said is not None:
            self._answers = {key: self._answers[key] for key in OF_A_SET}
            self.ask()
        elif len(self._tapes) == 1:
            self._end()
        else:
            question = NAME_OF_SET.format(count=len(self._tapes))
            self._app.push_screen(AskText(question, "writes the sheet of the set"), self._take_name_of_set)

    def _take_name_of_set(self, name: str | None) -> None:
        if name is not None:
            try:
                self._tapes.append(write_set(self._folder, name, self._tapes))
            except Problem as problem:
                self._say(problem.sentence)
        self._end()

    def _end(self) -> None:
        """Select the sheet that was written last."""
        if self._tapes:
            self._then(self._tapes[-1])
