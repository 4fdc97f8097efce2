"""A wave that was clipped ahead of the converter is distinguished from a saturated tape."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.measure.signal.flat_tops import FlatTops
from tests.rough_tape.grades import GRADES
from tests.rough_tape.interface import clipped
from tests.rough_tape.scenes import single

RATE = 48000.0
SECONDS = 3.0
SINE = np.sin(2 * np.pi * 400.0 * np.arange(round(SECONDS * RATE)) / RATE)


def cut_at(x: NDArray[np.float64]) -> float | None:
    watch = FlatTops(RATE, 1)
    for at in range(0, len(x), 1000):
        watch.feed(x[at : at + 1000, None])
    return watch.cut_at[0]


@pytest.mark.parametrize("high", [0.974, 0.9, 0.7, 0.4])
@pytest.mark.parametrize("low", [-2.0, -0.9])
def test_tops_cut_at_any_level_are_told(high: float, low: float) -> None:
    noise = 1e-4 * np.random.default_rng(2).standard_normal(len(SINE))
    told = cut_at(0.3 * clipped(SINE[:, None], high, low, RATE)[:, 0] + noise)
    assert told is not None
    assert 0.1 < told < 0.4


@pytest.mark.parametrize("hz", [1600.0, 3150.0, 4000.0])
def test_those_of_a_higher_tone_are_told_by_their_width(hz: float) -> None:
    sine = np.sin(2 * np.pi * hz * np.arange(round(SECONDS * RATE)) / RATE + 0.26)
    assert cut_at(0.3 * np.clip(sine, -2.0, 0.8)) is not None
    assert cut_at(0.3 * sine) is None
    assert cut_at(0.5 * np.tanh(0.62 * sine)) is None


@pytest.mark.parametrize("third", [0.0, 0.03, 0.1])
def test_a_tape_that_saturates_is_not(third: float) -> None:
    # tanh is the usual stand-in for a tape's saturation; common practice, no source.
    drive = {0.0: 1e-3, 0.03: 0.62, 0.1: 1.3}[third]
    assert cut_at(0.5 * np.tanh(drive * SINE) / np.tanh(drive)) is None


def test_rough_tape_is_not() -> None:
    for grade in GRADES:
        for hz in (315.0, 3150.0):
            capture = single(np.random.default_rng(3), grade, hz, 3.0, 3.0, rate=RATE)
            assert cut_at(capture.samples[:, 0]) is None


def test_a_tone_at_half_the_rate_is_not() -> None:
    watch = FlatTops(8000, 1)
    watch.feed(0.3 * (-1.0) ** np.arange(8000)[:, None])
    assert watch.cut_at == (None,)
