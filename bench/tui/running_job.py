"""A job on the bench, from the open session to the written report."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from bench.crash import crash_file
from bench.problem import Problem
from bench.workspace import Workspace

if TYPE_CHECKING:
    from bench.clock import Clock
    from bench.open_run import Opened, Wanted
    from bench.procedure.run.desk import Desk
    from bench.procedure.state.snapshot import Outcome, Snapshot


@dataclass(frozen=True, slots=True)
class Asked:
    """What was chosen, by names."""

    procedure: str
    machine: str = ""
    tape: str = ""
    reference_tape: str = ""
    port: str = "practice"
    exercise: int | None = None
    """On the practice machine, so many faults, hidden until the debrief."""
    seed: int = 1
    trainee: str = ""
    """Whose exercise it is."""


class BenchSitting:
    """Opens a new job, or goes on with a session; nothing heavy is imported before `open`.

    Args:
        workspace: where procedures and sessions are.
        asked: a new job: names from the chooser, or all that the command line can ask for; or
        folder: the session to go on with.
        learning: whether a trainee sits there; in an exercise one always does.
        clock: another time than the real one, which the practice machine then lets go by as fast as it can.
    """

    def __init__(
        self,
        workspace: Workspace,
        asked: Asked | Wanted | None = None,
        *,
        folder: Path | None = None,
        clock: Clock | None = None,
        learning: bool = False,
    ) -> None:
        self.trainee = learning
        self._workspace, self._asked, self._folder, self._clock = workspace, asked, folder, clock
        self.debrief: tuple[tuple[str, str], ...] = ()
        self._opened: Opened | None = None

    def open(self, on_snapshot: Callable[[Snapshot], None]) -> Desk:
        """Job, port, session, bench thread. Raises `Problem`."""
        from bench.clock import RealClock
        from bench.open_run import Wanted, open_run, resume_run

        clock = self._clock or RealClock()
        real_time = self._clock is None
        asked = self._asked
        if self._folder is not None:
            opened = resume_run(self._folder, clock, real_time=real_time)
        elif asked is None:
            raise Problem("nothing was asked for: name a procedure")
        else:
            if isinstance(asked, Asked):
                sheets = (asked.machine or None, asked.tape or None, asked.reference_tape or None)
                asked = Wanted(
                    asked.procedure,
                    *sheets,
                    port=asked.port,
                    seed=asked.seed,
                    exercise=asked.exercise,
                    trainee=asked.trainee,
                )
            opened = open_run(self._workspace, asked, clock, real_time=real_time)
        self._opened = opened
        self.trainee = self.trainee or opened.exercise is not None
        return opened.put_on_desk(on_snapshot)

    def close(self, outcome: Outcome | None) -> str:
        """Close the session and write its report; what to say about it. Nothing is closed while it is being written."""
        if self._opened is None:
            return ""
        fault = self._opened.desk.fault if self._opened.desk is not None else None
        if fault is not None:
            parts = [self._opened.end_after(fault), *([] if isinstance(fault, Problem) else [crash_file(fault)])]
            return " ".join(f"{part[:1].upper()}{part[1:]}." for part in parts)
        from bench.session.report.debrief_text import debrief_lines
        from bench.session.report.report import write_report

        said = self._opened.end()
        self.debrief = debrief_lines(self._opened.store.events())
        if said:
            return said
        if outcome is None and not self._opened.store.records():
            return ""
        try:
            return f"The report is {write_report(self._opened.store.folder)}"
        except Problem as problem:
            return problem.sentence

    def close_late(self, line: Callable[[str], None]) -> None:
        """The screen went while the bench thread was still writing: wait for it, and say so; then close the session."""
        if self._opened is not None and self._opened.desk is not None:
            self._opened.desk.wait(line)
        said = self.close(None)
        if said:
            line(said)
