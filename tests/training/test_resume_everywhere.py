"""A run that is interrupted at every step, and again in the middle of it, gives the report of an uninterrupted one."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run, resume_run
from bench.procedure.run.commands import Command, Leave
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.outcome import last_attempts
from bench.procedure.state.snapshot import Snapshot
from bench.run_request import RunRequest
from bench.session.record.reader import read_session
from bench.session.report.document import document_of
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from bench.workspace import Workspace
from tests.smooth import smooth_procedures

IN_THE_MIDDLE_S = 3.0
"""How far into a step it is interrupted again."""

BY_ANY_WAY = """
format = 1
title = "By any way"
summary = "Decides, goes back and passes over."
takes_minutes = 5

[[step]]
kind = "follow"
id = "clean"
title = "Clean"
procedure = "clean"

[[step]]
kind = "follow"
id = "demagnetise"
title = "Demagnetise"
procedure = "demagnetise"

[[step]]
kind = "measure"
id = "found"
title = "Replay level as found"
do = "Let it play."
stage = "found-clean"
quantity = "level"
plays = "level-400"
target = "machine.replay_level"

[[step]]
kind = "decision"
id = "enough"
title = "Enough?"
of = "found"
when_in = "words"

[[step]]
kind = "adjust"
id = "replay-level"
title = "Replay level"
do = "Turn it."
quantity = "level"
plays = "level-400"
target = "machine.replay_level"
trimmers = { left = "replay level left", right = "replay level right" }

[[step]]
kind = "measure"
id = "as-left"
title = "Replay level as left"
do = "Let it play."
quantity = "level"
plays = "level-400"
target = "machine.replay_level"
again_until = { back_to = "replay-level" }

[[step]]
kind = "decision"
id = "done"
title = "Done?"
of = "as-left"
when_in = "words"

[[step]]
kind = "entry"
id = "never"
title = "Never"
do = "Write."
asks = "words"

[[step]]
kind = "entry"
id = "words"
title = "Words"
do = "Write."
asks = "words"

[[step]]
kind = "measure"
id = "hiss"
title = "For three heads only"
do = "Let it play."
quantity = "level"
plays = "level-400"
target = "machine.replay_level"
applies_to = { heads = [2] }
"""


@dataclass(slots=True)
class Restless(UnattendedHands):
    """Leaves once at the start of a step and once in the middle of it."""

    left: dict[str, int] = field(default_factory=dict)
    _came: tuple[str, float] = ("", 0.0)

    def decide(self, snapshot: Snapshot, now: float) -> Command | None:
        here = snapshot.step.id if snapshot.step is not None else ""
        if here != self._came[0]:
            self._came = (here, now)
        so_far = self.left.get(here, 0)
        middle = so_far == 1 and now - self._came[1] >= IN_THE_MIDDLE_S
        if here and (so_far == 0 or middle):
            self.left[here] = so_far + 1
            return Leave()
        return UnattendedHands.decide(self, snapshot, now)


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    smooth_procedures(tmp_path / "procedures")
    (tmp_path / "procedures" / "by-any-way.toml").write_text(BY_ANY_WAY, encoding="utf-8")
    return Workspace(tmp_path)


def _go(opened: OpenRun, hands: UnattendedHands) -> bool:
    """Run to the end or to the next interruption; returns whether it was the end."""
    try:
        return rehearse(opened.runner, opened.port, opened.clock, hands).completed
    finally:
        opened.store.close()


def _whole(workspace: Workspace, wanted: RunRequest) -> Path:
    opened = open_run(workspace, wanted, RehearsalClock(), real_time=False)
    assert _go(opened, UnattendedHands())
    return opened.store.folder


def _piecemeal(workspace: Workspace, wanted: RunRequest) -> tuple[Path, int]:
    """Run it with an interruption at every step; returns how often it was resumed."""
    left: dict[str, int] = {}
    opened = open_run(workspace, wanted, RehearsalClock(), real_time=False)
    breaks = 0
    while not _go(opened, Restless(left=left)):
        breaks += 1
        assert breaks < 2000
        folder = opened.store.folder
        kept = read_session(folder)
        later = RehearsalClock(max((*(e.time for e in kept.events), *(r.time for r in kept.readings))))
        opened = resume_run(folder, later, real_time=False)
    return opened.store.folder, breaks


def _nominal(record: ReadingRecord) -> float | None:
    """The requested frequency; for hum and flutter the frequency is measured, and therefore random."""
    return None if record.reading.quantity in {"hum", "flutter_component"} else record.reading.frequency_hz


def _told(folder: Path) -> dict[str, Any]:
    """The text of the report without times, figures (hiss and flutter are random) and movements of trimmers."""
    session = read_session(folder)
    document = document_of(session)
    return {
        "result": document.conclusion,
        # A step that was interrupted is begun again, which costs a reported pass of the reference tape.
        "facts": [(term, said.partition(": ")[0]) for term, said in document.facts],
        "exceptions": document.exceptions,
        "noted": [said[1:] for said in document.noted],
        "cautions": document.cautions,
        "signed": [(s.who, s.accepts) for s in document.signed],
        "readings": {
            (r.step, r.stage, r.judged, r.source, r.reading.quantity, r.reading.channel, _nominal(r))
            for r in last_attempts(session.readings)
        },
        "verdicts": {
            (r.step, r.reading.quantity, r.reading.channel, _nominal(r)): r.verdict and r.verdict.word
            for r in last_attempts(session.readings)
            if r.judged
        },
    }


def _compare(workspace: Workspace, wanted: RunRequest) -> int:
    whole = _told(_whole(workspace, wanted))
    folder, breaks = _piecemeal(workspace, wanted)
    piecemeal = _told(folder)
    for part, said in whole.items():
        assert piecemeal[part] == said, part
    return breaks


def test_by_any_way(workspace: Workspace) -> None:
    assert _compare(workspace, RunRequest("by-any-way", seed=3)) >= 14


@pytest.mark.long
@pytest.mark.parametrize("procedure", ["cassette-two-head", "cassette-three-head"])
def test_a_whole_line_up(workspace: Workspace, procedure: str) -> None:
    steps = len(open_run(workspace, RunRequest(procedure), RehearsalClock(), real_time=False).job.steps)
    assert _compare(workspace, RunRequest(procedure, seed=1)) >= steps
