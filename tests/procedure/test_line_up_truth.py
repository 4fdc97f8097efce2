"""The result of a line-up by the true state of the practice machine, not by the readings.

Bounds: bias within 0.5 dB of right, channels within 0.5 dB of each other, record equalisation within 0.7 dB, and at
−20 dB the tape equals the source within 0.5 dB: ±0.5 dB to 2 kHz is what noise reduction needs (common practice, no
source).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bench.audio.practice import PracticePort
from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run
from bench.practice.switched import AnyMachine
from bench.procedure.state.snapshot import Outcome
from bench.run_request import RunRequest
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse, target_answers
from bench.workspace import Workspace, shipped_procedures
from tests.practice.deck import RATE, level_dbfs, tone
from tests.procedure.record_bench import off, run
from tests.smooth import smooth_procedures

PARTS = (
    ("record-line-up-three-head", "three-head-cassette"),
    ("record-line-up-two-head", "two-head-cassette"),
    ("record-line-up-open-reel-iec", "open-reel-381-iec"),
    ("record-line-up-open-reel-nab", "open-reel-381-nab"),
)
JOBS = (
    "line-up-cassette",
    "cassette-three-head",
    "cassette-two-head",
    "first-line-up",
    "open-reel-iec",
    "open-reel-nab",
)


def tape_re_source(machine: AnyMachine, heads: int) -> list[float]:
    """400 Hz at −20 dB: the tape relative to the source, dB, read by correlation and not by the program's meters."""
    sent = tone(400.0, -12.0 - 20.0, 2.0)
    machine.load("work")
    machine.rewind()
    machine.switch("noise-reduction", "off")
    machine.switch("monitor", "source")
    machine.switch("transport", "record")
    source = machine.process(sent)
    machine.switch("monitor", "tape")
    if heads == 3:
        tape = machine.process(sent)
    else:
        machine.rewind()
        machine.switch("transport", "play")
        tape = machine.process(np.zeros_like(sent))
    late = slice(RATE // 2, None)
    return [level_dbfs(tape[late, c], 400.0) - level_dbfs(source[late, c], 400.0) for c in (0, 1)]


def rehearsed(folder: Path, job: str, seed: int) -> tuple[OpenRun, AnyMachine, Outcome]:
    """Run a whole job by unattended hands; returns the machine as left, and the outcome."""
    smooth_procedures(folder / "procedures")
    opened = open_run(Workspace(folder), RunRequest(job, seed=seed), RehearsalClock(), real_time=False)
    hands = UnattendedHands(answers=target_answers(opened.job), override="rehearsed")
    outcome = rehearse(opened.runner, opened.port, opened.clock, hands)
    opened.store.close()
    assert isinstance(opened.port, PracticePort)
    return opened, opened.port.machine, outcome


def check(machine: AnyMachine, heads: int) -> None:
    """The bounds."""
    truth = machine.truth()
    bias = [truth["bias left"], truth["bias right"]]
    equalisation = [truth["record equalisation left"], truth["record equalisation right"]]
    level = tape_re_source(machine, heads)
    said = f"bias {bias}, equalisation {equalisation}, level at −20 dB {level}"
    assert max(map(abs, bias)) < 0.5, said
    assert abs(bias[0] - bias[1]) < 0.5, said
    assert max(map(abs, equalisation)) < 0.7, said
    assert max(map(abs, level)) < 0.5, said
    controls = [truth[f"record level control {side}"] for side in ("left", "right")]
    assert max(map(abs, controls)) < 0.6, controls


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1, 51))
@pytest.mark.parametrize(("part", "machine"), PARTS)
def test_a_record_line_up_leaves_bias_equalisation_and_level_right(
    tmp_path: Path, part: str, machine: str, seed: int
) -> None:
    text = (shipped_procedures() / f"{part}.toml").read_text(encoding="utf-8")
    knobs = {"record_control_left_db": 2.5, "record_control_right_db": -2.0}
    ran = run(tmp_path, text, machine, seed=seed, **off(seed), **knobs)  # type: ignore[arg-type]
    check(ran.machine, ran.opened.job.machine.heads)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1, 11))
@pytest.mark.parametrize("job", ["cassette-several-tapes", "open-reel-two-speeds"])
def test_a_line_up_for_several_tapes_leaves_each_of_them_right(tmp_path: Path, job: str, seed: int) -> None:
    opened, left, outcome = rehearsed(tmp_path, job, seed)
    truth = left.truth()
    settings = [opened.job.machine, *(s.machine for s in opened.job.further)]
    for machine in settings:
        for usual, most in (("bias", 0.5), ("record equalisation", 0.7)):
            errors = [truth[machine.trimmer(f"{usual} {side}")] for side in ("left", "right")]
            assert max(map(abs, errors)) < most, (machine.setting[0].name, usual, errors)
    assert outcome.exit_code == 0, outcome.said


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1, 51))
@pytest.mark.parametrize("job", JOBS)
def test_a_whole_job_does(tmp_path: Path, job: str, seed: int) -> None:
    opened, machine, outcome = rehearsed(tmp_path, job, seed)
    check(machine, opened.job.machine.heads)
    assert outcome.exit_code == 0, outcome.said
