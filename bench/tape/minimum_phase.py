"""Minimum phase from magnitude."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from bench.arrays import Floats

LOWEST_DB = -200.0
"""A response is limited to this, so that its logarithm is finite."""
_TINY = 1e-300
_TERMS = 18
"""Of a series in x² up to x = √2 − 1: the last is below the rounding of a double."""


def minimum_phase(response_db: Floats, taps: int) -> Floats:
    """Taps of a minimum-phase filter with this magnitude response.

    The phase is the Hilbert transform of the log magnitude, computed by folding the real cepstrum.

    Args:
        response_db: at evenly spaced frequencies from 0 Hz to half the sample rate, both included; dB.
        taps: number of taps kept of an impulse response of length 2·(len(response_db) − 1).

    Source: homomorphic filtering, textbook (Oppenheim and Schafer, from memory).
    """
    size = 2 * (response_db.size - 1)
    cepstrum = np.fft.irfft(np.maximum(response_db, LOWEST_DB) * (np.log(10) / 20), size)
    fold = np.zeros(size)
    fold[0], fold[size // 2] = 1, 1
    fold[1 : size // 2] = 2
    return np.asarray(np.fft.irfft(np.exp(np.fft.rfft(cepstrum * fold)), size)[:taps])


def phase_of_levels(at_hz: ArrayLike, frequency_hz: ArrayLike, level_db: ArrayLike) -> Floats:
    """The minimum phase from levels at a few frequencies, radians; positive is leading.

    The levels are interpolated linearly over log f. The outermost lines are extended by an octave, and the level is
    constant beyond.

    Args:
        at_hz: frequencies at which to compute the phase, shape (m,).
        frequency_hz: frequencies of the levels, rising, shape (n,).
        level_db: the levels, same shape; a constant offset is allowed.

    Source: Bode's relation of phase to the slope of level, φ = (1/π) ∫ (dA/du) ln coth |u/2| du, u = ln(f/f₀)
    (Network Analysis and Feedback Amplifier Design, 1945; from memory), integrated in closed form over each line.
    """
    points, nepers = np.log(np.asarray(frequency_hz, dtype=float)), np.asarray(level_db, dtype=float) * np.log(10) / 20
    if points.size < 2:
        return np.zeros(np.shape(at_hz))
    slopes = np.diff(nepers) / np.diff(points)
    points = np.concatenate(([points[0] - np.log(2)], points[1:-1], [points[-1] + np.log(2)]))
    area = _bode_area(points[None] - np.log(np.asarray(at_hz, dtype=float))[:, None])
    return np.asarray(np.diff(area, axis=1) @ slopes / np.pi)


def _bode_area(u: Floats) -> Floats:
    """∫ ln coth |t/2| dt from 0 to u.

    It is an odd function: π²/4 − 2·χ(e^−u), with Legendre's χ(x) = Σ x^(2k+1) / (2k+1)². For small u, where that series
    converges slowly, χ(x) + χ(y) = π²/8 + ½·ln x·ln y with y = (1 − x)/(1 + x) = tanh(u/2) gives 2·χ(y) − u·ln y.

    Source: Lewin, Polylogarithms and Associated Functions, 1981, 1.8 (from memory).
    """
    size = np.abs(u)
    near, far = np.tanh(np.maximum(size, _TINY) / 2), np.exp(-size)
    chi = _chi(np.minimum(near, far))
    area = np.where(near < far, 2 * chi - size * np.log(near), np.pi**2 / 4 - 2 * chi)
    return np.asarray(np.sign(u) * area)


def _chi(x: Floats) -> Floats:
    """Legendre's chi function of order 2 up to √2 − 1, where the last term is below the rounding of a double."""
    square, total = x * x, np.zeros_like(x)
    for odd in range(2 * _TERMS + 1, 0, -2):
        total = total * square + 1 / odd**2
    return x * total
