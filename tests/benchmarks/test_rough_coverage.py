"""How often a reading's uncertainty (k = 2) holds on four grades of tape, and how close readings come to the best.

For each grade and quantity: in how many of the readings the value of this very stretch of tape lies within the
uncertainty of the stretch, and that of the machine in the long run within the stated one; rms error of all over that of
the best linear estimator, which knows the wander's spectrum; errors and uncertainties; and how many tones were not
found as one. `ROUGH_CAPTURES` says how many captures of each kind and grade are measured, `ROUGH_KINDS` of which kinds
(names of `rough_readings.KINDS`, with commas) and `ROUGH_FIRST` the number of the first.
"""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator

import numpy as np
import pytest
from scipy.stats import binom

from tests.benchmarks.rough_readings import KINDS, Sample
from tests.rough_tape.grades import GRADES, Grade

WANTED = (0.93, 0.98)
CHANCE = 1e-3
"""Probability that chance alone makes the coverage of a correct uncertainty low enough to fail."""
HEAD = (
    f"{'':34s} {'n':>4s} {'none':>4s} {'this':>6s} {'U':>9s} {'rms':>9s} {'bias':>9s} | {'machine':>7s} {'U':>9s}"
    f" {'rms':>9s} {'/best':>5s}"
)


@pytest.mark.parametrize("grade", GRADES, ids=[g.name for g in GRADES])
def test_uncertainties_hold_on_rough_tape(grade: Grade) -> None:
    count = int(os.environ.get("ROUGH_CAPTURES", "2"))
    kinds = os.environ.get("ROUGH_KINDS", ",".join(KINDS)).split(",")
    samples = list(readings(grade, kinds, int(os.environ.get("ROUGH_FIRST", "0")), count))
    print(f"\n{grade.name}, {count} captures of each kind\n{HEAD}\n" + "\n".join(table(samples)))
    assert not list(too_low(samples))


def readings(grade: Grade, kinds: list[str], first: int, count: int) -> Iterator[Sample]:
    """Result for the given number of captures of each kind."""
    for kind in kinds:
        for n in range(first, first + count):
            rng = np.random.default_rng((7, list(KINDS).index(kind), GRADES.index(grade), n))
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                yield from KINDS[kind](rng, grade)


def table(samples: list[Sample]) -> Iterator[str]:
    """A line for each quantity."""
    for name, mine in _by_quantity(samples):
        if name == "tones cut":
            yield f"{name:34s} {100 * np.mean([s.own for s in mine if s.own is not None]):.1f} %"
            continue
        read = [s for s in mine if s.own is not None or s.machine is not None]
        whole = [s for s in read if not s.bound]
        words = f"{name:34s} {len(whole):4d} {len(mine) - len(whole):4d} "
        own = [s for s in whole if s.own is not None]
        words += _side([(s.own, s.own_uncertainty) for s in own], bias=True) + " | "
        machine = [s for s in whole if s.machine is not None]
        words += _side([(s.machine, s.uncertainty) for s in machine])
        both = np.array([(s.machine, s.best) for s in machine if s.best]).T
        yield words + (f" {np.linalg.norm(both[0]) / np.linalg.norm(both[1]):5.2f}" if len(both) else "     –")


def too_low(samples: list[Sample]) -> Iterator[str]:
    """The quantities whose uncertainty holds less often than required, by more than chance explains."""
    for name, mine in _by_quantity(samples):
        known = [(abs(s.machine), s.uncertainty) for s in mine if s.machine is not None and not s.bound]
        held = sum(error <= u for error, u in known)
        if known and binom.cdf(held, len(known), WANTED[0]) < CHANCE:
            yield f"{name}: {held} of {len(known)}"


def _by_quantity(samples: list[Sample]) -> Iterator[tuple[str, list[Sample]]]:
    for name in sorted({s.quantity for s in samples}):
        yield name, [s for s in samples if s.quantity == name]


def _side(pairs: list[tuple[float | None, float | None]], *, bias: bool = False) -> str:
    known = [(e, u or 0.0) for e, u in pairs if e is not None]
    if not known:
        return f"{'–':>6s} {'–':>9s} {'–':>9s}" + (f" {'–':>9s}" if bias else "")
    errors, u = np.array(known).T
    held = 100.0 * float(np.mean(np.abs(errors) <= u))
    words = f"{held:6.1f} {np.median(u):9.4f} {np.sqrt(np.mean(errors**2)):9.4f}"
    return words + (f" {np.mean(errors):9.4f}" if bias else "")
