"""A rising tone: a straight line in dB, independent of the block size."""

from __future__ import annotations

import numpy as np
import pytest

from bench.problem import Problem
from bench.signals.level_ramp import LevelRamp

RATE = 48000


def test_it_rises_evenly_from_where_it_should_to_where_it_should() -> None:
    ramp = LevelRamp(1000.0, -20.0, 0.0, 10.0, RATE)
    for at_s, db in ((0.5, -19.0), (5.0, -10.0), (9.5, -1.0)):
        piece = ramp.render(round(at_s * RATE) - 480, 960)[:, 0]
        peak = 20 * np.log10(np.abs(piece).max())
        assert peak == pytest.approx(db, abs=0.05)
    assert ramp.frames == 10 * RATE
    assert np.all(ramp.render(10 * RATE, 100) == 0.0)


def test_the_same_samples_whatever_the_blocks() -> None:
    ramp = LevelRamp(315.0, -10.0, 0.0, 2.0, RATE)
    whole = ramp.render(0, 2 * RATE)
    parts = np.concatenate([ramp.render(n, 977) for n in range(0, 2 * RATE, 977)])[: 2 * RATE]
    assert np.array_equal(whole, parts)


def test_no_tone_above_full_scale_or_half_the_rate() -> None:
    with pytest.raises(Problem, match="dBFS"):
        LevelRamp(1000.0, -10.0, 1.0, 2.0, RATE)
    with pytest.raises(Problem, match="half the rate"):
        LevelRamp(30000.0, -10.0, 0.0, 2.0, RATE)
