"""A job on the bench, from opening the session to writing the report."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from bench.crash import crash_file
from bench.problem import Problem
from bench.words.sentences import capitalised
from bench.workspace import Workspace

if TYPE_CHECKING:
    from bench.clock import Clock
    from bench.open_run import OpenRun
    from bench.procedure.run.commands import Command
    from bench.procedure.run.desk import Desk
    from bench.procedure.state.snapshot import Outcome, Snapshot
    from bench.run_request import RunRequest
    from bench.session.compare.diagnosis import WhatIsWrong
    from bench.tui.screens.guide import Guide


class RunningJob:
    """Opens a new run or resumes a session; nothing heavy is imported before `open`.

    Args:
        workspace: where procedures and sessions are.
        start: the request for a new run, or the folder of a session to resume.
        learning: True for a trainee; an exercise always has one.
        clock: a rehearsal clock, which the practice machine advances as fast as it can; None for real time.
    """

    def __init__(
        self,
        workspace: Workspace,
        start: RunRequest | Path,
        *,
        clock: Clock | None = None,
        learning: bool = False,
    ) -> None:
        self.trainee = learning
        self._workspace, self._start, self._clock = workspace, start, clock
        self.debrief: tuple[tuple[str, str], ...] = ()
        self._opened: OpenRun | None = None

    @property
    def folder(self) -> Path | None:
        """The session's folder; None before it is open."""
        return self._opened.store.folder if self._opened is not None else None

    def open(self, on_snapshot: Callable[[Snapshot], None]) -> Desk:
        """Open job, port and session, and make the bench thread. Raises `Problem`."""
        from bench.clock import RealClock
        from bench.open_run import open_run, resume_run

        clock = self._clock or RealClock()
        real_time = self._clock is None
        if isinstance(self._start, Path):
            opened = resume_run(self._start, clock, real_time=real_time)
        else:
            opened = open_run(self._workspace, self._start, clock, real_time=real_time)
        self._opened = opened
        self.trainee = self.trainee or opened.exercise is not None
        return opened.make_desk(on_snapshot)

    def diagnosis_line(self, before: Snapshot, now: Snapshot) -> str:
        """What is wrong, at moments when it should be shown; "" otherwise, and always for a trainee."""
        from bench.session.compare.diagnosis import time_to_ask

        if self._opened is None or self.trainee or not time_to_ask(before, now):
            return ""
        return self._what_is_wrong(self._opened).line()

    def diagnosis_page(self) -> tuple[list[str], Command | None]:
        """What is wrong, as lines, and the command for the suggested test; raises `Problem` in an exercise."""
        return self._what_is_wrong(self._opened).page() if self._opened is not None else ([], None)

    @staticmethod
    def _what_is_wrong(opened: OpenRun) -> WhatIsWrong:
        from bench.session.compare.diagnosis import WhatIsWrong

        return WhatIsWrong(opened.store.folder, opened.job.steps, opened.port)

    def audible_guide(self) -> Guide:
        """The audible guide, on an output that does not lead to the machine; raises `Problem` where there is none."""
        from bench.audio.guide import open_guide
        from bench.audio.live import LivePort

        port = self._opened.port if self._opened is not None else None
        return open_guide(port.connected if isinstance(port, LivePort) else ())

    def close(self, outcome: Outcome | None) -> str:
        """Close the session and write its report; returns a sentence. Nothing is closed while it is being written."""
        if self._opened is None:
            return ""
        fault = self._opened.desk.fault if self._opened.desk is not None else None
        if fault is not None:
            parts = [self._opened.end_after(fault), *([] if isinstance(fault, Problem) else [crash_file(fault)])]
            return " ".join(f"{capitalised(part)}." for part in parts)
        from bench.session.report.debrief_text import debrief_lines
        from bench.session.report.report import write_report

        sentence = self._opened.end()
        self.debrief = debrief_lines(self._opened.store.events())
        if sentence:
            return sentence
        if outcome is None and not self._opened.store.records():
            return ""
        try:
            report = write_report(self._opened.store.folder)
            return f"The report is {report}{self._first_cause()}"
        except Problem as problem:
            return problem.sentence

    def _first_cause(self) -> str:
        """What was wrong, in one line after the report; "" in an exercise, and where too little was read."""
        from bench.diagnosis.output.page import first_line
        from bench.session.compare.diagnosis import diagnosis_to_show
        from bench.session.record.reader import read_session

        if self._opened is None or self._opened.exercise is not None:
            return ""
        found = diagnosis_to_show(read_session(self._opened.store.folder))
        line = first_line(found) if found else ""
        return f". What was wrong: {line}" if line else ""

    def close_late(self, line: Callable[[str], None]) -> None:
        """After the screen has closed: wait until the bench thread has finished writing, then close the session."""
        if self._opened is not None and self._opened.desk is not None:
            self._opened.desk.wait(line)
        sentence = self.close(None)
        if sentence:
            line(sentence)
