"""What a line-up leaves, by the true state of the practice machine and not by the readings."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.workspace import shipped_procedures
from tests.procedure.record_bench import off, run
from tests.training.left_by_truth import beyond, left
from tests.training.rough_line_ups import JOBS, line_up

PARTS = (
    ("record-line-up-three-head", "three-head-cassette"),
    ("record-line-up-two-head", "two-head-cassette"),
    ("record-line-up-open-reel-iec", "open-reel-381-iec"),
    ("record-line-up-open-reel-nab", "open-reel-381-nab"),
)


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
