"""Comparison of readings of real tape: an unchanged machine shows no change, and a changed one does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from bench.measure.meters import Options
from bench.measure.reading import Reading
from bench.session.compare.comparison import change
from tests.measure.whole_array import level
from tests.results import a_reading
from tests.rough_tape.grades import GRADES, Grade
from tests.rough_tape.machine import Machine, drawn_machine
from tests.rough_tape.scenes import Section, sequence

PAIRS = 20
RATE = 44100.0


def levels(rng: np.random.Generator, grade: Grade, machine: Machine) -> Iterator[Reading]:
    """Readings of both channels, at a low and a high frequency."""
    for hz in (1000.0, 10000.0):
        section = Section(hz, -10.0, 6.0)
        capture = sequence(rng, grade, (section,), rate=RATE, announced=False, machine=machine)
        yield from (a_reading(r) for r in level(capture.samples, RATE, Options(frequency=hz)).readings[:2])


@pytest.mark.long
@pytest.mark.parametrize(("grade", "by_db"), list(zip(GRADES, (0.3, 0.5, 1.0, 2.5), strict=True)))
def test_a_change_shows_and_passing_time_does_not(grade: Grade, by_db: float) -> None:
    still, moved = [], []
    for n in range(PAIRS):
        rng = np.random.default_rng((31, n))
        machine = drawn_machine(rng, grade)
        first, second = (list(levels(rng, grade, machine)) for _ in range(2))
        changed = replace(machine, reference_dbfs=machine.reference_dbfs + by_db)
        third = levels(rng, grade, changed)
        still += [abs(by) > u for by, u in map(change, first, second)]
        moved += [abs(by) > u for by, u in map(change, first, third)]
    # 5 % of 80 is 4; chance gives twice as many once in thirty trials.
    print(f"{grade.name}: {np.mean(still):.3f} of what stood still, {np.mean(moved):.3f} of what moved by {by_db:g} dB")
    assert np.mean(still) <= 0.1
    assert np.mean(moved) >= 0.95
