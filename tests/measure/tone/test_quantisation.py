"""Rounding without dither: its error, which no noise reveals, is covered nevertheless."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.meters import Options
from bench.measure.signal.quantisation_step import StepSize
from tests.measure.whole_array import level
from tests.results import a_reading

Q = 2.0**-15


def test_undithered_tones_are_covered_by_the_stated_uncertainty() -> None:
    """Tones that fit the sample rate and some that don't, 16 bits, phase and level at random, fixed seed."""
    rng = np.random.default_rng(11)
    off = []
    for _ in range(120):
        rate = int(rng.choice([44100, 48000, 96000]))
        hz = float(rng.choice([63, 315, 400, 997, 1000, 3150, 6300, 8000, 10000, 12000]))
        db = float(rng.uniform(-60, -1))
        n = np.arange(int(rng.uniform(0.8, 2.5) * rate))
        x = 10 ** (db / 20) * np.sin(2 * np.pi * hz * n / rate + rng.uniform(0, 2 * np.pi))
        rounded = np.round(x / Q) * Q
        reading = level(rounded[:, None], rate, Options()).readings[0]
        off.append((a_reading(reading).value - db) / a_reading(reading).uncertainty)
    assert 0.9 <= float(np.mean(np.abs(off) <= 1.0)) <= 0.99  # 95 % within k = 2, of 120
    assert 0.4 < float(np.std(off)) < 0.6  # neither too wide nor too narrow


def test_hiss_makes_rounding_plain_noise() -> None:
    rng = np.random.default_rng(2)
    n = np.arange(48000)
    x = 0.1 * np.sin(2 * np.pi * 1000 * n / 48000) + rng.normal(0, 10 * Q, len(n))
    rounded = np.round(x / Q) * Q
    with_steps = a_reading(level(rounded[:, None], 48000, Options()).readings[0]).uncertainty
    without = a_reading(level(x[:, None], 48000, Options()).readings[0]).uncertainty
    assert with_steps == pytest.approx(without, rel=0.01)


@pytest.mark.parametrize("bits", [8, 16, 24])
def test_the_step_is_told_from_the_samples(bits: int) -> None:
    step = 2.0 ** (1 - bits)
    size = StepSize()
    size.look(np.round(np.random.default_rng(1).uniform(-1, 1, 5000) / step) * step)
    assert size.step == step


def test_samples_that_were_never_rounded_have_no_step() -> None:
    size = StepSize()
    size.look(np.random.default_rng(1).uniform(-1, 1, 5000))
    assert size.step == 0.0
