"""Fifty rough machines of each kind end in tolerance by their true state, with few more turns than smooth ones."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.training.rough_line_ups import PARTS, line_up

GRADE = {
    "replay, three heads": "good",
    "record, three heads": "good",
    "replay, two heads": "average",
    "record, two heads": "average",
    "replay, 38 cm/s": "studio",
    "record, 38 cm/s": "studio",
}


def test_every_part_has_its_grade() -> None:
    assert set(GRADE) == set(PARTS)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1, 51))
@pytest.mark.parametrize("job", PARTS)
def test_a_rough_machine_is_truly_lined_up(tmp_path: Path, job: str, seed: int) -> None:
    done = line_up(tmp_path, job, GRADE[job], seed)
    assert done.errors
    assert done.out == {}


@pytest.mark.long
@pytest.mark.parametrize("job", PARTS)
def test_it_takes_hardly_more_turns_and_rounds_than_a_smooth_one(tmp_path: Path, job: str) -> None:
    def counted(grade: str) -> int:
        done = [line_up(tmp_path / f"{grade}-{seed}", job, grade, seed) for seed in (1, 2, 3, 4)]
        return sum(d.turns + d.rounds for d in done)

    assert counted(GRADE[job]) <= 1.3 * counted("none")
