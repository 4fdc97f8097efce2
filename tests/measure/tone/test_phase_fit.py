"""Frequency from a phase, against the bound √(12/K)/(2π T) (Rife and Boorstyn 1974) and with known flutter."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.measure.tone.phase_fit import fit_rates, modelled, rough_slope, slope

RATE = 2000.0
SPREAD = 0.003
"""Noise of the phase of a point, radians."""


def phase(seconds: float, hz: float, rng: np.random.Generator, *lines: tuple[float, float]) -> NDArray[np.float64]:
    """Lines: rate in Hz and amplitude in radians."""
    t = np.arange(round(seconds * RATE)) / RATE
    y = 2 * np.pi * hz * t + SPREAD * rng.standard_normal(len(t)) + rng.uniform(0, 6)
    for g, amplitude in lines:
        y += amplitude * np.sin(2 * np.pi * g * t + rng.uniform(0, 2 * np.pi))
    return np.asarray(y)


def bound(seconds: float) -> float:
    return float(SPREAD * np.sqrt(12.0 / (seconds * RATE)) / (2 * np.pi * seconds))


@pytest.mark.parametrize("lines", [(), ((4.0, 0.8), (20.0, 0.08)), ((0.55, 5.7), (4.0, 0.8))])
def test_the_slope_reaches_the_bound_with_and_without_flutter(lines: tuple[tuple[float, float], ...]) -> None:
    rng = np.random.default_rng(1)
    z, told = [], []
    for _ in range(60):
        y = phase(10.0, 1.234, rng, *lines)
        fit = slope(y, RATE, fit_rates(y, RATE, 400.0, 3150.0), 400.0, 3150.0)
        z.append((fit.frequency_hz - 1.234) / bound(10.0))
        told.append(fit.deviation_hz / bound(10.0))
    assert np.std(z) < 1.25  # 60 trials scatter by 9 %
    assert abs(np.mean(z)) < 0.5
    assert 0.93 < np.median(told) < 1.12


def test_a_wow_that_does_not_turn_fully_is_taken_out_with_doubt() -> None:
    rng = np.random.default_rng(2)
    y = phase(1.0, 0.0, rng, (0.7, 4.0))
    rates = fit_rates(y, RATE, 400.0, 3150.0)
    fit = slope(y, RATE, rates, 400.0, 3150.0)
    plain = slope(y, RATE, [], 400.0, 3150.0)
    assert rates == [pytest.approx(0.7, abs=0.05)]
    assert abs(fit.frequency_hz) < 2.0 * fit.deviation_hz
    assert abs(fit.frequency_hz) < 0.05 * abs(plain.frequency_hz)


def test_a_drift_is_told_and_does_not_move_the_mean() -> None:
    t = (np.arange(20000) - 9999.5) / RATE
    y = phase(10.0, 2.0, np.random.default_rng(3)) + np.pi * 0.5 / 10.0 * t**2
    fit = slope(y, RATE, fit_rates(y, RATE, 400.0, 3150.0), 400.0, 3150.0)
    assert fit.drift_hz == pytest.approx(0.5, abs=3 * fit.drift_deviation_hz)
    assert fit.frequency_hz == pytest.approx(2.0, abs=4 * fit.deviation_hz)


def test_at_a_glance() -> None:
    y = phase(0.5, -3.0, np.random.default_rng(4))
    fit = rough_slope(y, RATE, 400.0)
    assert fit.frequency_hz == pytest.approx(-3.0, abs=5 * bound(0.5))


def test_a_speed_that_wanders_without_a_rate_is_in_the_uncertainty() -> None:
    """A wow of white noise below 8 Hz, 0.02 % rms of 3150 Hz: its own mean over the tone is not the machine's speed."""
    rng = np.random.default_rng(4)
    covered = []
    for _ in range(80):
        spectrum = np.fft.rfft(rng.standard_normal(40_000))
        spectrum[np.fft.rfftfreq(40_000, 1 / RATE) > 8.0] = 0.0
        wow = np.fft.irfft(spectrum)[:16_000]
        y = phase(8.0, 1.0, rng) + 2 * np.pi * 0.63 * np.cumsum(wow / np.sqrt(8.0 / (RATE / 2))) / RATE
        fit = slope(y, RATE, fit_rates(y, RATE, 400.0, 3150.0), 400.0, 3150.0)
        covered.append(abs(fit.frequency_hz - 1.0) < 2.0 * np.hypot(fit.deviation_hz, fit.wander_hz.total))
    assert np.mean(covered) > 0.88


@pytest.mark.parametrize("turns", [1.29, 1.2995, 1.3, 1.3005, 1.31])
def test_a_line_on_the_border_of_a_slow_one_is_modelled_as_it_was_fitted(turns: float) -> None:
    """The fitted means span slightly less time than the points, over which a line may complete just enough cycles."""
    seconds = 3.0 + 7.0 / RATE
    rate = turns / seconds
    y = phase(seconds, 1.234, np.random.default_rng(2), (rate, 3.0))
    model = modelled(y, RATE, [rate])
    assert np.std(y - model) < 1.2 * SPREAD
