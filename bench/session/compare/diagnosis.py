"""What was wrong with the machine of a session."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from bench.audio.port import Port, Visible
from bench.diagnosis.answer import Diagnosis, diagnose
from bench.diagnosis.carrying_out import steps_for
from bench.diagnosis.machine import Machine, machine_of
from bench.diagnosis.next_test import NextTest, Possible
from bench.diagnosis.output.page import PROBABLE, TITLES, first_line, page
from bench.diagnosis.readings.records import CIRCUITS, answers_of, findings_of
from bench.problem import Problem
from bench.procedure.model.job import JobStep
from bench.procedure.run.commands import GoAside, Look
from bench.procedure.run.interlocks import care_missing
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Acted
from bench.procedure.state.outcome import last_attempts
from bench.procedure.state.snapshot import Snapshot
from bench.session.record.index import entries_beside
from bench.session.record.inputs import machine_sheet
from bench.session.record.reader import read_session
from bench.session.record.record import SessionRecord
from bench.words.sentences import capitalised

FEWEST = 8
"""With fewer readings that bear on causes, no diagnosis is shown unless it is asked for."""
OPEN_EXERCISE = "in an exercise you say what is wrong; finish it, and the debrief has the rest"
"""Why there is no diagnosis before the end of an exercise."""


def diagnosis_of(session: SessionRecord, possible: Possible | None = None) -> tuple[Diagnosis, Machine]:
    """The diagnosis with the best next test among those possible, and the machine from its sheet.

    Raises:
        Problem: it is an exercise that is not over, or the copy of its machine sheet is unusable.
    """
    if session.is_open_exercise:
        raise Problem(OPEN_EXERCISE)
    sheet = machine_sheet(session.folder, session.inputs)
    facts = {k: v for k, v in sheet.items() if k != "practice"} | ({} if sheet else {"heads": session.job.heads})
    machine = machine_of(facts | {"lined_up_before": _lined_up_before(session)}, str(session.folder))
    findings = findings_of(session.valid_readings, adjusted=session.adjusted, magnetised=_magnetised(session))
    found = diagnose(machine, findings, answers_of(session.events), _allowed(session, possible))
    if any(r.noise_reduction != "off" and r.reading.quantity == "response" for r in session.valid_readings):
        circuits = {*CIRCUITS.values()}  # a response through both of them would have shown a fault of either
        found = replace(found, not_looked_at=tuple(name for name in found.not_looked_at if name not in circuits))
    return found, machine


def _magnetised(session: SessionRecord) -> set[str]:
    """The readings of a machine that was cleaned and not demagnetised, by their ids."""
    when = {e.act: e.time for e in reversed([*of_kind(session.events, Acted)])}
    if "clean" not in when:
        return set()
    return {r.id for r in session.readings if "demagnetise" not in when or r.time < when["demagnetise"]}


def _allowed(session: SessionRecord, possible: Possible | None) -> Possible:
    """The possible tests that no interlock stops: the reference tape waits for a clean, demagnetised machine."""
    ready = not care_missing(session.events)
    return lambda test: (ready or not test.reference_passes) and (possible is None or possible(test))


def _lined_up_before(session: SessionRecord) -> bool:
    """Whether the previous visit adjusted the machine. A practice machine is a new one in each job."""
    if session.job.port_kind == "practice":
        return bool(session.job.turned_before)
    every = entries_beside(session.folder)
    mine = next((e for e in every if e.name == session.folder.name), None)
    earlier = [e for e in every if mine and e.machine == mine.machine and e.begun < mine.begun and e.done]
    try:
        return bool(earlier) and read_session(max(earlier, key=lambda e: e.begun).folder).adjusted
    except Problem:
        return False


@lru_cache(maxsize=1)
def diagnosis_to_show(session: SessionRecord) -> Diagnosis | None:
    """The diagnosis of a session; None where there is none, or too little was read.

    The last one is cached: report, screen and command all ask for it when a job ends.
    """
    try:
        found, _ = diagnosis_of(session)
    except Problem:
        return None
    return found if found.readings >= FEWEST else None


PARTS = {
    "dirt-replay-head": "replay-swab",
    "dirt-record-head": "record-swab",
    "dirt-left-after-cleaning": "head-face",
    "worn-replay-gap": "head-face",
    "pinch-roller": "roller",
    "tape-selector": "selector",
    "tape-of-another-type": "shell",
    "output-control": "output-control",
}
"""By cause: the part that an inspection looks at, as `Visible.look` names it."""


@dataclass(slots=True)
class WhatIsWrong:
    """What is wrong by the readings of a running job so far, and the suggested test as steps of the job."""

    folder: Path
    """Folder of the session."""
    steps: Sequence[JobStep]
    port: Port
    """Where it is the practice machine, the look of its parts is told."""

    def line(self) -> str:
        """The first cause in one line; "" where too little was read, or no cause is more likely than not."""
        found = diagnosis_to_show(read_session(self.folder))
        likely = found is not None and any(s.probability >= PROBABLE for s in found.suspects)
        return first_line(found) if found is not None and likely else ""

    def page(self) -> tuple[list[str], GoAside | Look | None]:
        """The whole diagnosis as lines, and the command that does the suggested test at once. Raises `Problem`.

        For a look at the machine the command is a `Look` with `seen`; the person says whether that is so.
        """
        found, _ = diagnosis_of(read_session(self.folder))
        test = found.next_test
        if test is not None and test.looks_for:
            return page(found), Look(test.looks_for, seen=True, question=look_question(test, self.port))
        steps = steps_for(test, self.steps) if test is not None else None
        return page(found), GoAside(*steps) if steps is not None else None


def look_question(test: NextTest, port: Port) -> str:
    """What to look at, what a practice machine shows, and the cause that it would confirm: a yes-or-no question."""
    look, part = capitalised(test.step), PARTS.get(test.looks_for)
    seen = f" You see: {port.look(part)}" if part and isinstance(port, Visible) else ""
    return f"{look if look.endswith('?') else look + '.'}{seen} Does it show: {TITLES[test.looks_for]}?"


def time_to_ask(before: Snapshot, now: Snapshot) -> bool:
    """Whether to show the diagnosis now: after an as-found stage, after a step that stayed out, and at the sign-off."""
    left, entered = before.step, now.step
    if left is None or entered is None or left.id == entered.id:
        return False
    if entered.kind == "sign-off" or left.stage not in ("left", entered.stage):
        return True
    own = [r for r in last_attempts(now.kept) if r.step == left.id]
    return left.kind == "adjust" and any(r.verdict is not None and r.verdict.word == "out" for r in own)
