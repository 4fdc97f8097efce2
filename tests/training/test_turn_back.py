"""Azimuth set by the owner's music, and the screw turned back to its old position, on the practice machine."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from bench.audio.practice import PracticePort
from bench.clock import RehearsalClock
from bench.open_run import open_run
from bench.procedure.state.event_kinds import Event
from bench.procedure.state.events import CheckedAgain, Disturbed
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.snapshot import Outcome
from bench.run_request import RunRequest
from bench.session.record.reader import read_session
from bench.session.report.plain_text import report_text
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from bench.workspace import Workspace
from tests.results import a_reading
from tests.smooth import smooth_procedures

STAYS, RETURNS = "it stays at these tapes", "return it to where it was"
MOST_PLAY_ARCMIN = 0.5 * 8.0 * 0.3
"""The screw starts in the middle of its play: at most 8 degrees, at most 0.3 minutes of arc per degree."""
US_PER_ARCMIN = 5.497  # 0.9 mm at 47.625 mm/s: Δt = s·tan α/v


@dataclass(frozen=True)
class Ended:
    outcome: Outcome
    moved: float
    """Angle of the head from its first position, minutes of arc."""
    records: tuple[ReadingRecord, ...]
    events: tuple[Event, ...]
    report: str

    def last(self, step: str) -> ReadingRecord:
        return [r for r in self.records if r.step == step][-1]


def _done(root: Path, wanted: str, seed: int) -> Ended:
    smooth_procedures(root / "procedures")
    clock = RehearsalClock()
    run = open_run(Workspace(root), RunRequest("owners-azimuth", seed=seed), clock, real_time=False)
    assert isinstance(run.port, PracticePort)
    machine = run.port.machine
    before = machine.truth()["replay azimuth"]
    answers = {"stay-or-return": wanted, "lacquer": "back where it was" if wanted == RETURNS else "1"}
    outcome = rehearse(run.runner, run.port, clock, UnattendedHands(answers=answers))
    records, events = run.store.records(), run.store.events()
    run.store.close()
    report = report_text(read_session(run.store.folder))
    return Ended(outcome, machine.truth()["replay azimuth"] - before, records, events, " ".join(report.split()))


@pytest.mark.parametrize("seed", [2, pytest.param(3, marks=pytest.mark.long), pytest.param(4, marks=pytest.mark.long)])
def test_returned_it_stands_where_it_stood_but_for_its_play(tmp_path: Path, seed: int) -> None:
    ended = _done(tmp_path, RETURNS, seed)
    assert (ended.outcome.exit_code, set(ended.outcome.words)) == (0, {"in"}), ended.outcome.said
    assert abs(ended.moved) <= MOST_PLAY_ARCMIN
    found, left, returned = (a_reading(ended.last(s).reading).value for s in ("found", "left", "returned"))
    assert found is not None
    assert left is not None
    assert returned is not None
    assert abs(found) > 12.0 > abs(left)  # before, it was really set to the music
    assert returned == pytest.approx(found, abs=MOST_PLAY_ARCMIN * US_PER_ARCMIN + 3.0)
    verdict = ended.last("returned").verdict
    assert verdict is not None
    assert verdict.target == pytest.approx(found)
    said = r"replay azimuth turned back by \d+° (anti)?clockwise, to its position when the job began"
    assert re.search(said, ended.report)
    assert "target: as read at As found: how late is one channel?" in ended.report
    assert RETURNS in ended.report
    assert [type(e) for e in ended.events if isinstance(e, Disturbed | CheckedAgain)] == [Disturbed, CheckedAgain]


def test_where_it_stays_nothing_is_turned_back(tmp_path: Path) -> None:
    ended = _done(tmp_path, STAYS, 3)
    assert (ended.outcome.exit_code, set(ended.outcome.words)) == (0, {"in"}), ended.outcome.said
    assert abs(ended.moved) > MOST_PLAY_ARCMIN
    assert "turned back" not in ended.report
    assert [r for r in ended.records if r.step == "returned"] == []
