"""Filters and spectra of a baseband, against scipy and by construction."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import freqz

from bench.measure.tone.baseband import (
    density,
    floor_of,
    low_pass,
    one_sided_lines,
    oscillators,
    quick_length,
    smoothed,
)


@pytest.mark.parametrize(("edge", "stop"), [(16.0, 40.0), (100.0, 250.0)])
def test_a_low_pass_is_flat_and_deep(edge: float, stop: float) -> None:
    hz, h = freqz(low_pass(edge, stop, 2000.0), worN=8192, fs=2000.0)
    assert np.max(np.abs(np.abs(h[hz < edge]) - 1.0)) < 1e-4
    assert 20 * np.log10(np.max(np.abs(h[hz > stop]))) < -90.0


def test_smoothing_leaves_a_turning_phasor_whole_to_its_ends() -> None:
    z = 0.3 * np.exp(1j * (2 * np.pi * 5.0 * np.arange(1500) / 2000.0 + 0.4))
    assert np.max(np.abs(smoothed(z, low_pass(20.0, 50.0, 2000.0, 60.0)) - z)) < 1e-3


def test_the_floor_is_the_mean_of_noise_whatever_lines_there_are() -> None:
    rng = np.random.default_rng(3)
    power = rng.exponential(2.0, 20000)
    power[:50] = 1e6
    assert floor_of(power) == pytest.approx(2.0, rel=0.03)


def test_density_of_white_noise_per_hertz() -> None:
    x = np.random.default_rng(4).standard_normal(200000)
    floor, near = density(x, 2000.0, 3.0, 400.0)
    assert floor == pytest.approx(1.0 / 2000.0, rel=0.03)
    assert near == floor


def test_density_near_zero_where_the_level_flickers() -> None:
    rng = np.random.default_rng(5)
    flicker = np.convolve(rng.standard_normal(20000), np.ones(200) / 20.0, mode="same")
    floor, near = density(rng.standard_normal(20000) + flicker, 2000.0, 3.0, 400.0)
    assert near > 2.0 * floor


def test_hum_is_told_from_the_sidebands_of_flutter() -> None:
    rate, n = 2000.0, 6000
    t = np.arange(n) / rate
    rng = np.random.default_rng(6)
    flutter = 0.02 * (np.exp(2j * np.pi * 7.0 * t) - np.exp(-2j * np.pi * 7.0 * t))
    x = flutter + 0.01 * np.exp(-2j * np.pi * 13.2 * t) + 1e-4 * (rng.standard_normal(n) + 1j * rng.standard_normal(n))
    found = one_sided_lines(x, rate, 0.0, 0.7, 900.0)
    assert [round(hz, 1) for hz, _ in found] == [-13.2]
    assert found[0][1] == pytest.approx(1e-4, rel=0.1)


def test_quick_lengths_are_the_longest_products_of_2_3_and_5() -> None:
    for points in (1, 7, 97, 1023, 1024, 4999):
        told = quick_length(points)
        quick = [n for n in range(1, points + 1) if not set(_primes(n)) - {2, 3, 5}]
        assert told == quick[-1]


def _primes(n: int) -> list[int]:
    for p in range(2, n + 1):
        if n % p == 0:
            return [p, *_primes(n // p)]
    return []


@pytest.mark.parametrize("count", [1, 255, 256, 1700])
def test_turning_lines_are_what_the_exponential_says(count: int) -> None:
    t = (np.arange(count) - (count - 1) / 2) / 2000.0
    expected = [np.exp(2j * np.pi * f * t) for f in (-312.7, 0.0, 480.3)]
    assert oscillators([-312.7, 0.0, 480.3], 2000.0, count) == pytest.approx(np.array(expected), abs=1e-10)
    assert oscillators([], 2000.0, count).shape == (0, count)
