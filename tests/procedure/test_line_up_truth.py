"""The result of a line-up by the true state of the practice machine, not by the readings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bench.practice_setup import build_practice_machine
from bench.procedure.load.library import Library
from bench.procedure.model.steps import Adjust
from bench.workspace import Workspace, shipped_procedures
from tests.procedure.record_bench import HEAD, HIGH, adjust, off, run
from tests.training.left_by_truth import beyond, left, tape_re_source
from tests.training.rough_line_ups import JOBS, line_up

LIBRARY = Library(Workspace(shipped_procedures().parent))
PARTS = (
    ("record-line-up-three-head", "three-head-cassette"),
    ("record-line-up-two-head", "two-head-cassette"),
    ("record-line-up-open-reel-iec", "open-reel-381-iec"),
    ("record-line-up-open-reel-nab", "open-reel-381-nab"),
)


@pytest.mark.parametrize(
    ("part", "machine", "reference"),
    [*((*part, None) for part in PARTS), ("record-line-up-open-reel-iec", "open-reel-190-iec", "reel-190-iec")],
)
def test_the_high_tone_of_a_step_does_not_erase_the_low_one_beside_it(
    part: str, machine: str, reference: str | None
) -> None:
    """A strong high tone acts as bias and lowers what is recorded with it (common practice, no source)."""
    job = LIBRARY.load_job(part, machine, reference_tape=reference)
    step = next(s for s in job.steps if isinstance(s, Adjust) and s.id == "record-equalisation")
    smooth = {"grade": "none"} | {key: 0.0 for key in job.machine.practice if "_dirt_" in key}
    right = job.machine.model_copy(update={"practice": job.machine.practice | smooth})
    recorder = build_practice_machine(right, job.tape, job.reference_tape, seed=3, misadjustment=0.0)
    response = tape_re_source(recorder, job.machine.heads, {tone.hz: tone.db for tone in step.sends})
    low, high = (response[tone.hz] for tone in step.sends)
    assert np.abs(np.subtract(high, low)).max() < 0.15


def test_treble_is_set_closer_than_it_is_accepted(tmp_path: Path) -> None:
    """12.5 kHz is accepted within ±3 dB; nobody leaves 0.7 dB that a trimmer can take away."""
    top = {"frequency": "12500", "reference_frequency": "400"}
    text = HEAD + adjust("top", "response", HIGH, "machine.record_response", "record equalisation", **top)
    ran = run(tmp_path, text, "three-head-cassette", record_equalisation_left_db=0.7, record_equalisation_right_db=-0.7)
    truth = ran.machine.truth()
    assert max(abs(truth[f"record equalisation {side}"]) for side in ("left", "right")) < 0.3


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1, 51))
@pytest.mark.parametrize(("part", "machine"), PARTS)
def test_a_record_line_up_leaves_bias_equalisation_and_level_right(
    tmp_path: Path, part: str, machine: str, seed: int
) -> None:
    text = (shipped_procedures() / f"{part}.toml").read_text(encoding="utf-8")
    knobs = {"record_control_left_db": 2.5, "record_control_right_db": -2.0}
    ran = run(tmp_path, text, machine, seed=seed, **off(seed), **knobs)  # type: ignore[arg-type]
    assert beyond(left(ran.machine, ran.opened.job, 2.0)) == {}


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1, 51))
@pytest.mark.parametrize("job", JOBS)
def test_a_whole_job_does(tmp_path: Path, job: str, seed: int) -> None:
    """On machines of the grade of their sheets."""
    assert beyond(line_up(tmp_path, job, "", seed).left) == {}


@pytest.mark.long
@pytest.mark.parametrize("job", JOBS)
def test_a_whole_job_on_a_smooth_machine_ends_all_in(tmp_path: Path, job: str) -> None:
    done = line_up(tmp_path, job, "none", 1)
    assert beyond(done.left) == {}
    assert done.outcome.exit_code == 0, done.outcome.said
