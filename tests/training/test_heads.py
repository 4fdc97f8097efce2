"""Two heads are measured as well as three: a correct machine reads correct after rewinding and playing."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.audio.practice import PracticePort
from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run
from bench.practice_setup import build_practice_machine
from bench.procedure.run.runner import Runner
from bench.run_request import RunRequest
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from bench.workspace import Workspace
from tests.results import a_reading
from tests.smooth import smooth_procedures


def right(workspace: Workspace, machine: str) -> OpenRun:
    """A run on a practice machine without misadjustment."""
    clock = RehearsalClock()
    opened = open_run(workspace, RunRequest("record-replay-check", machine, seed=3), clock, real_time=False)
    job = opened.job
    machine_of = build_practice_machine(job.machine, job.tape, job.reference_tape, seed=3, misadjustment=0.0)
    port = PracticePort(machine_of, clock, real_time=False)
    port.clean()
    return OpenRun(job, port, opened.store, Runner(job, port, opened.store, clock), clock)


def test_a_machine_that_is_right(tmp_path: Path) -> None:
    smooth_procedures(tmp_path / "procedures")
    opened = right(Workspace(tmp_path), "two-head-cassette")
    outcome = rehearse(opened.runner, opened.port, opened.clock, UnattendedHands())
    opened.store.close()
    records = opened.store.records()
    assert (outcome.exit_code, len(records)) == (0, 28)
    levels = [a_reading(r.reading).value for r in records if r.reading.quantity == "record_replay_level"]
    assert levels == [pytest.approx(0.0, abs=0.2)] * 4
    treble = [a_reading(r.reading).value for r in records if r.reading.frequency_hz == 10000]
    assert treble == [pytest.approx(0.0, abs=0.7)] * 2
