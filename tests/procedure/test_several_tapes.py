"""A run on several tapes: the machine is set for each, readings have its name, and disturbed ones are read again."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.audio.practice import PracticePort
from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run
from bench.procedure.run import commands as say
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import CheckedAgain, Disturbed
from bench.run_request import RunRequest
from bench.session.record.reader import read_session
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from bench.workspace import Workspace
from tests.procedure.flow_bench import HEAD, Bench, by_a_person, events
from tests.smooth import smooth_procedures

TAPES = """
machine = "three-position-cassette"
tape = "ferric-daily"
other_tapes = ["chrome-evening", "metal-festival"]
reference_tape = "cassette-reference"
"""

RECORD = """
[[step]]
kind = "record-replay"
id = "record"
title = "Record"
do = "Record."
each_tape = true
sends = [{ hz = 400, db = -20, seconds = 1.0 }]
reference_hz = 400
targets = { record_replay_level = "machine.record_level" }
"""

BIAS = """
[[step]]
kind = "adjust"
id = "bias"
title = "Bias"
do = "Set it."
each_tape = true
quantity = "overbias"
sends = [{ hz = 10000, db = -20 }]
target = "tape.overbias"
trimmers = { left = "bias left", right = "bias right" }
"""


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def ended(run: OpenRun) -> OpenRun:
    run.port.close()
    rehearse(run.runner, run.port, run.clock, UnattendedHands(override="a test"))
    run.store.close()
    return run


def test_hands_set_the_machine_for_each_tape(bench: Bench) -> None:
    run = ended(bench.open(TAPES + RECORD))
    assert events(run, "switch") == [
        ("switch", "record-chrome", "setting: chrome"),
        ("switch", "record-metal", "setting: metal"),
    ]
    assert [r.lot for r in run.store.records()] == ["", "", "chrome", "chrome", "metal", "metal"]
    kept = read_session(run.store.folder).job
    assert (kept.tape, [f.tape for f in kept.further]) == (
        "Lanternhill ferric daily",
        ["Lanternhill chrome evening", "Lanternhill metal festival"],
    )


def test_a_person_is_asked_to_set_the_machine(bench: Bench) -> None:
    run = bench.open(TAPES + RECORD)
    runner = by_a_person(run)
    runner.obey(say.Skip("later"))
    shown = runner.snapshot()
    assert (shown.prompt.kind, shown.job.tape, shown.job.equalisation) == (
        "confirm",
        "Lanternhill chrome evening",
        "70 µs + 3180 µs",
    )
    assert shown.prompt.text == (
        f"Take the tape out. Set the machine to chrome: 70 µs + 3180 µs, {shown.job.speed}. "
        "The tape for it is Lanternhill chrome evening. Confirm when it is set."
    )
    runner.obey(say.GoOn())
    assert runner.snapshot().prompt.kind == "go-on"
    assert events(run, "switch")[-1] == ("switch", "record-chrome", "setting: chrome")


def test_a_broken_off_job_goes_on_with_the_tape_that_it_was_at(bench: Bench) -> None:
    run = bench.open(TAPES + RECORD)
    run.runner.obey(say.Skip("later"))
    resumed = bench.resume(run)
    assert [s.lot for s in resumed.job.further] == ["chrome", "metal"]
    shown = resumed.runner.snapshot()
    assert (shown.step and shown.step.lot, shown.job.tape) == ("chrome", "Lanternhill chrome evening")


@pytest.mark.long
def test_bias_of_one_type_disturbs_no_other_and_is_right_for_each(tmp_path: Path) -> None:
    smooth_procedures(tmp_path / "procedures")
    first = RECORD.replace('id = "record"', 'id = "first"')
    own = tmp_path / "procedures" / "own.toml"
    own.write_text(HEAD + TAPES + first + BIAS + RECORD, encoding="utf-8")
    run = open_run(Workspace(tmp_path), RunRequest("own", seed=2), RehearsalClock(), real_time=False)
    rehearse(run.runner, run.port, run.clock, UnattendedHands(override="a test"))
    assert isinstance(run.port, PracticePort)
    truth = run.port.machine.truth()
    for name in ("ferric", "chrome", "metal"):
        assert max(abs(truth[f"bias {side} {name}"]) for side in ("left", "right")) < 0.5, truth
    lots = {"bias": "", "bias-chrome": ", chrome", "bias-metal": ", metal"}
    disturbed = {e.step: e.what for e in of_kind(run.store.events(), Disturbed)}
    assert disturbed == {step: (f"record level{lot}",) for step, lot in lots.items()}
    again = [what for e in of_kind(run.store.events(), CheckedAgain) for what in e.what]
    assert again == ["record level", "record level, chrome", "record level, metal"]
