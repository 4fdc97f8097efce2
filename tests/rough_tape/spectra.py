"""Noise with a given spectrum, and how well the best estimator could know its mean."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len
from scipy.linalg import solve_toeplitz

Floats = NDArray[np.float64]
Shape = Callable[[Floats], Floats]
"""Relative power density at frequencies in Hz."""

LONGEST_S = 160.0
"""Minimum length of slow noise: one period of its lowest frequency."""


@dataclass(frozen=True)
class Spectrum:
    """A one-sided power density, (unit of `rms`)² per Hz after scaling."""

    shape: Shape
    low_hz: float
    high_hz: float
    rms: float

    def density(self, hz: Floats) -> Floats:
        """The one-sided density at these frequencies."""
        grid = np.geomspace(self.low_hz, self.high_hz, 500)
        whole = float(np.trapezoid(self.shape(grid), grid))
        inside = (hz >= self.low_hz) & (hz <= self.high_hz)
        out = np.zeros(len(hz))
        out[inside] = self.rms**2 * self.shape(hz[inside]) / whole
        return out

    def noise(self, rng: np.random.Generator, points: int, rate: float) -> Floats:
        """Gaussian noise with this spectrum: `points` points at `rate` a second."""
        size = next_fast_len(max(points, int(LONGEST_S * rate) if self.low_hz < 1.0 else points + 1000), real=True)
        return gaussian(rng, [self], size, rate)[:points]


def gaussian(rng: np.random.Generator, spectra: list[Spectrum], size: int, rate: float) -> Floats:
    """Gaussian noise with the sum of several spectra, periodic with a period of `size` points."""
    hz = np.asarray(np.fft.rfftfreq(size, 1.0 / rate), dtype=np.float64)
    density = sum((s.density(hz) for s in spectra), np.zeros(len(hz)))
    used = np.flatnonzero(density)
    bins = np.zeros(len(hz), dtype=np.complex128)
    draws = rng.standard_normal(len(used)) + 1j * rng.standard_normal(len(used))
    bins[used] = draws * np.sqrt(density[used] * rate * size / 4.0)
    return np.asarray(irfft(bins, size))


def knee(corner_hz: float, steepness: float) -> Shape:
    """Flat up to a corner, then falling."""
    return partial(_knee, corner_hz, steepness)


def _knee(corner_hz: float, steepness: float, hz: Floats) -> Floats:
    return np.asarray(1.0 / (1.0 + (hz / corner_hz) ** steepness))


def falling(exponent: float) -> Shape:
    """Falling with a power of the frequency."""
    return partial(_falling, exponent)


def _falling(exponent: float, hz: Floats) -> Floats:
    return np.asarray(hz**-exponent)


def best_mean_rms(spectra: list[Spectrum], seconds: float, white: float = 0.0) -> float:
    """Standard deviation of the mean of a stretch, by the best linear estimator that knows the spectrum.

    For a stationary series with covariance matrix C it is 1/√(1ᵀ C⁻¹ 1) (Gauss and Markov; any text on estimation).

    Args:
        spectra: the components of the series.
        seconds: length of the stretch.
        white: one-sided density of white noise on top.
    """
    rate = float(np.clip(200.0 / seconds, 10.0, 40.0))
    count = max(8, round(seconds * rate))
    size = 1 << 13
    hz = np.asarray(np.fft.rfftfreq(size, 1.0 / rate), dtype=np.float64)
    density = sum((s.density(hz) for s in spectra), np.zeros(len(hz)))
    covariance = irfft(density * 0.5 * rate, size)[:count]
    # Power above half the rate does not affect the mean; a little of it as white noise keeps C regular.
    covariance[0] += 0.5 * white * rate + 1e-4 * covariance[0]
    return float(1.0 / np.sqrt(np.sum(solve_toeplitz(covariance, np.ones(count)))))
