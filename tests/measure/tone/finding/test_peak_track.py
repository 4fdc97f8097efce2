"""A tone of any length in bounded memory."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from bench.measure.tone.finding.finder import ToneFinder
from bench.measure.tone.finding.peak_track import is_mains

RATE = 8000.0


def test_a_long_tone_is_measured_in_parts_and_told_once() -> None:
    rng = np.random.default_rng(1)
    finder, found, seconds = ToneFinder(RATE, 1), [], 140
    most = 0
    for n in range(seconds):
        t = n + np.arange(8000) / RATE
        x = 0.1 * np.sin(2 * np.pi * 1000.0 * t) * (1.0 + 0.01 * (n >= 70)) + 1e-4 * rng.standard_normal(8000)
        if n == 64:
            tracemalloc.start()
        found += finder.feed(x[:, None])
        if n > 64:
            most = max(most, tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    found += finder.finish()
    (tone,) = found
    assert tone.duration_s == pytest.approx(seconds, abs=0.1)
    assert tone.tones[0].amplitude == pytest.approx(0.1005, abs=2e-5)
    assert tone.frequency_hz == pytest.approx(1000.0, abs=1e-5)
    assert most < 12e6


def test_mains() -> None:
    assert [hz for hz in (49.9, 50.3, 60.1, 63.0, 100.2, 150.0, 315.0, 400.0) if is_mains(hz)] == [
        49.9,
        60.1,
        100.2,
        150.0,
    ]
