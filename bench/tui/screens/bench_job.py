"""A job as the bench screen uses it, and the bench thread behind it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from bench.procedure.run import commands as say
from bench.procedure.state.snapshot import Outcome, Snapshot
from bench.tui.screens.guide import Guide


class Desk(Protocol):
    """The parts of a bench thread that the screen uses."""

    fault: BaseException | None

    def start(self) -> None:
        """Start; raises `Problem` if the port can't be opened."""

    def post(self, command: say.Command) -> None:
        """Send it a command."""

    def stop(self, limit_s: float) -> bool:
        """Stop it and wait; returns whether it has ended."""


class BenchJob(Protocol):
    """A job on the bench, from the first step to the saved session."""

    trainee: bool
    """Whether the person is a trainee."""

    debrief: tuple[tuple[str, str], ...]
    """The debrief of a finished exercise: (subject, sentence)."""

    @property
    def folder(self) -> Path | None:
        """The session's folder; None before it is open."""

    def open(self, on_snapshot: Callable[[Snapshot], None]) -> Desk:
        """Open session and port and make the bench thread; raises `Problem`. May take a second or two."""

    def diagnosis_line(self, before: Snapshot, now: Snapshot) -> str:
        """What is wrong, at moments when it should be shown, else ""; raises `Problem`."""

    def diagnosis_page(self) -> tuple[list[str], say.Command | None]:
        """What is wrong, as lines, and the command for the suggested test; raises `Problem`. May take a second."""

    def audible_guide(self) -> Guide:
        """The audible guide; raises `Problem` where every output may lead to the machine."""

    def close(self, outcome: Outcome | None) -> str:
        """Close the session; returns a sentence about it: where the report is."""

    def close_late(self, line: Callable[[str], None]) -> None:
        """Close the session after the screen has closed, once the bench thread has ended; reports the wait."""
