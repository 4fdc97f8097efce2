"""The mono sum of channels whose sum is computed by hand."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.quantities.mono_sum import MonoSumMeter
from bench.measure.reading import Result
from tests.results import a_reading, no_reading

RATE = 48000


def mono_sum(left: np.ndarray, right: np.ndarray) -> Result:
    meter = MonoSumMeter(RATE, 2)
    x = np.stack([left, right], axis=1)
    for at in range(0, len(x), 1000):
        meter.feed(x[at : at + 1000])
    (reading,) = meter.finish().readings
    return reading


def tone(phase_degrees: float = 0.0) -> np.ndarray:
    return np.asarray(0.3 * np.sin(2 * np.pi * 400 * np.arange(2 * RATE) / RATE + np.radians(phase_degrees)))


@pytest.mark.parametrize(
    ("phase", "expected"),
    # Two sines of one level, φ apart: |cos(φ/2)|, worked by hand.
    [(0.0, 0.0), (60.0, -1.25), (90.0, -3.01), (120.0, -6.02)],
)
def test_two_tones_apart_in_phase(phase: float, expected: float) -> None:
    assert a_reading(mono_sum(tone(), tone(phase))).value == pytest.approx(expected, abs=0.01)


def test_an_inverted_channel_leaves_nothing() -> None:
    nothing = a_reading(mono_sum(tone(), -tone()))
    assert nothing.value <= -40
    assert nothing.bound == "at most"


def test_levels_that_differ_do_not_look_like_phase() -> None:
    assert a_reading(mono_sum(tone(), 0.5 * tone())).value == pytest.approx(0.0, abs=0.01)


def test_channels_that_share_nothing_lose_three_decibels() -> None:
    rng = np.random.default_rng(1)
    apart = mono_sum(rng.standard_normal(4 * RATE) / 10, rng.standard_normal(4 * RATE) / 10)
    assert a_reading(apart).value == pytest.approx(-3.01, abs=0.1)


def test_without_two_channels_it_says_why() -> None:
    assert "silent" in no_reading(mono_sum(tone(), 0 * tone())).reason
    assert "nothing" in no_reading(mono_sum(0 * tone(), 0 * tone())).reason
    mono = MonoSumMeter(RATE, 1)
    mono.feed(tone()[:, None])
    assert "two channels" in no_reading(mono.finish().readings[0]).reason
