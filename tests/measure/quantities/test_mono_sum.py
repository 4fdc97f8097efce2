"""The mono sum of channels whose sum is known by hand."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.quantities.mono_sum import MonoSumMeter

RATE = 48000


def read(left: np.ndarray, right: np.ndarray) -> tuple[float | None, str | None]:
    meter = MonoSumMeter(RATE, 2)
    x = np.stack([left, right], axis=1)
    for at in range(0, len(x), 1000):
        meter.feed(x[at : at + 1000])
    (reading,) = meter.finish().readings
    return reading.value, reading.reason


def tone(phase_degrees: float = 0.0) -> np.ndarray:
    return np.asarray(0.3 * np.sin(2 * np.pi * 400 * np.arange(2 * RATE) / RATE + np.radians(phase_degrees)))


@pytest.mark.parametrize(
    ("phase", "expected"),
    # Two sines of one level, φ apart: |cos(φ/2)|, worked by hand.
    [(0.0, 0.0), (60.0, -1.25), (90.0, -3.01), (120.0, -6.02)],
)
def test_two_tones_apart_in_phase(phase: float, expected: float) -> None:
    assert read(tone(), tone(phase))[0] == pytest.approx(expected, abs=0.01)


def test_an_inverted_channel_leaves_nothing() -> None:
    value, _ = read(tone(), -tone())
    assert value is not None
    assert value <= -40


def test_levels_that_differ_do_not_look_like_phase() -> None:
    assert read(tone(), 0.5 * tone())[0] == pytest.approx(0.0, abs=0.01)


def test_channels_that_share_nothing_lose_three_decibels() -> None:
    rng = np.random.default_rng(1)
    value, _ = read(rng.standard_normal(4 * RATE) / 10, rng.standard_normal(4 * RATE) / 10)
    assert value == pytest.approx(-3.01, abs=0.1)


def test_without_two_channels_it_says_why() -> None:
    assert "silent" in (read(tone(), 0 * tone())[1] or "")
    assert "nothing" in (read(0 * tone(), 0 * tone())[1] or "")
    mono = MonoSumMeter(RATE, 1)
    mono.feed(tone()[:, None])
    assert "two channels" in (mono.finish().readings[0].reason or "")
