"""A tape of another practice machine, played correctly: what its session reports, against the truth."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from bench.audio.practice import PracticePort
from bench.clock import RehearsalClock
from bench.measure.reading import Reading
from bench.open_run import open_run
from bench.practice.owners_tape import OtherMachine
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.snapshot import Outcome
from bench.run_request import RunRequest
from bench.session.record.reader import read_session
from bench.session.report.plain_text import report_text
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse, target_answers
from bench.workspace import Workspace
from tests.results import a_reading
from tests.smooth import smooth_procedures
from tests.training.test_turn_back import MOST_PLAY_ARCMIN, US_PER_ARCMIN

REEL = RunRequest("foreign-tape", "open-reel-381-iec", "reel-studio", "reel-381-iec", seed=3)
MOST_PLAY_DB = 0.5
"""Allowed error of a level trimmer that was turned back: the tolerance of its target."""


@dataclass(frozen=True)
class Ended:
    outcome: Outcome
    other: OtherMachine
    before: dict[str, float]
    after: dict[str, float]
    records: tuple[ReadingRecord, ...]
    report: str

    def read(self, step: str, channel: str = "") -> Reading:
        return a_reading([r for r in self.records if r.step == step and channel in r.reading.channel][-1].reading)

    def moved(self, trimmer: str) -> float:
        return self.after[trimmer] - self.before[trimmer]


def done(root: Path, request: RunRequest, answers: dict[str, str]) -> Ended:
    smooth_procedures(root / "procedures")
    clock = RehearsalClock()
    run = open_run(Workspace(root), request, clock, real_time=False)
    assert isinstance(run.port, PracticePort)
    machine = run.port.machine
    before = machine.truth()
    hands = UnattendedHands(answers=target_answers(run.job) | answers)
    outcome = rehearse(run.runner, run.port, clock, hands)
    records = run.store.records()
    run.store.close()
    report = " ".join(report_text(read_session(run.store.folder)).split())
    return Ended(outcome, machine.owners_tape.truth, before, machine.truth(), records, report)


@pytest.mark.long
@pytest.mark.parametrize("seed", [2, 5])
def test_a_cassette_without_tones(tmp_path: Path, seed: int) -> None:
    ended = done(tmp_path, RunRequest("foreign-tape", seed=seed), {})
    assert (ended.outcome.exit_code, set(ended.outcome.words)) == (0, {"in"}), ended.outcome.said
    assert "level: not known, because no tone of known flux was read" in ended.outcome.said
    assert "no level of this tape is known" in ended.outcome.said
    assert "likely" in ended.outcome.said
    speed = [r for r in ended.records if r.step == "speed-hum"][-1].reading
    if isinstance(speed, Reading):
        plays = ended.before["speed"] - ended.other.fast_percent
        assert speed.value == pytest.approx(plays, abs=speed.uncertainty + 0.05)
    for side, step in enumerate(("found-a", "found-b")):
        wanted = (ended.before["replay azimuth"] - ended.other.azimuth_arcmin[side]) * US_PER_ARCMIN
        assert ended.read(step).value == pytest.approx(wanted, abs=8.0)
    assert abs(ended.moved("replay azimuth")) <= MOST_PLAY_ARCMIN
    assert "Not measured" not in ended.report  # readings that are reported but not judged are not required


@pytest.mark.long
def test_a_reel_with_tones(tmp_path: Path) -> None:
    ended = done(tmp_path, REEL, {"tones": "tones, and their flux is known"})
    assert (ended.outcome.exit_code, set(ended.outcome.words)) == (0, {"in"}), ended.outcome.said
    for side in ("left", "right"):
        level = ended.before[f"replay level {side}"] + ended.other.level_db
        assert ended.read("tone-level", side).value == pytest.approx(level, abs=0.5)
    assert "heard with noise reduction" in ended.outcome.said
    assert abs(ended.moved("replay azimuth")) <= MOST_PLAY_ARCMIN


@pytest.mark.long
def test_replay_set_to_a_tape_is_read_to_be_back(tmp_path: Path) -> None:
    ended = done(tmp_path, RunRequest("foreign-tape-trimmers", seed=3), {})
    assert ended.outcome.exit_code == 0, ended.outcome.said
    for side in ("left", "right"):
        assert abs(ended.read("left-level", side).value) < 0.5 < abs(ended.read("found-level", side).value)
        assert abs(ended.moved(f"replay level {side}")) <= MOST_PLAY_DB
        assert abs(ended.moved(f"replay equalisation {side}")) <= MOST_PLAY_DB
