"""A Type A encoder as a network of analogue sections, stepped finely: a model that shares no filter with the program.

Each section is stepped exactly for a straight line between two samples. The figures are those of the static law, with
the time constants of the detectors (from memory).
"""

from __future__ import annotations

import numba
import numpy as np
from scipy.signal import cont2discrete, lfilter


def analogue_type_a(signal: np.ndarray, rate: float) -> np.ndarray:
    """Encode one channel; at 14 kHz it needs a rate of about 700 kHz."""
    low = _section([1.0], 2**0.5, 80.0, signal, rate)
    high = _section([1.0, 0.0, 0.0], 2**0.5, 3000.0, signal, rate)
    top = _section([1.0, 0.6, 0.0], 1.05, 10500.0, signal, rate)
    side = np.zeros_like(signal)
    for band, fast_s in ((low, 0.01), (signal - low - high, 0.002), (high, 0.001), (top, 0.001)):
        share = 1 / (fast_s * rate)
        mean = np.sqrt(8 * lfilter([share], [1.0, share - 1], band**2)) / np.pi
        amplitude = np.pi / 2 * _held(mean, 1 / (0.1 * rate))
        side += (10**0.5 - 1) * band / (1 + (amplitude / 0.01) ** 4) ** 0.25
    return np.asarray(signal + np.clip(side, -0.1, 0.1))


def _section(numerator: list[float], damping: float, corner_hz: float, signal: np.ndarray, rate: float) -> np.ndarray:
    """numerator(s)/(s² + damping·s + 1), s = j·f/corner."""
    b, a, _ = cont2discrete((numerator, [1.0, damping, 1.0]), 2 * np.pi * corner_hz / rate, "foh")
    return np.asarray(lfilter(np.ravel(b), a, signal))


@numba.njit(nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
def _held(mean: np.ndarray, slow: float) -> np.ndarray:
    """A level that follows small changes slowly, and at once what exceeds it by more than 0.02."""
    out, held = np.empty_like(mean), 0.0
    for n in range(mean.size):
        held = max(held + slow * (mean[n] - held), mean[n] - 0.02)
        out[n] = held
    return out
