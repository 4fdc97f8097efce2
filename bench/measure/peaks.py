"""Peaks of a chunk's spectrum: where tones may be."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

LOWEST_HZ = 20.0
COUNT = 6
"""How many are told at most."""
ABOVE_FLOOR = 12.0
"""Power of a peak over the median of its neighbourhood."""
BELOW_STRONGEST = 1e-5
"""A peak weaker than this against the strongest is not told: it may be the window's skirt."""


def hann_power(spectrum: NDArray[np.complex128]) -> NDArray[np.float64]:
    """Power of all channels under a Hann window, which is a sum of three bins.

    Args:
        spectrum: one-sided, shape (channels, bins), of an even number of samples.

    Returns:
        For each bin the squared peak amplitude of a sine that lies there.
    """
    hann = spectrum.copy()
    hann[:, 1:-1] -= 0.5 * (spectrum[:, 2:] + spectrum[:, :-2])
    size = 2 * (spectrum.shape[1] - 1)
    return np.asarray(np.sum(hann.real**2 + hann.imag**2, axis=0) * (2.0 / size) ** 2)


def strongest_peaks(power: NDArray[np.float64], bin_hz: float) -> list[tuple[float, float]]:
    """Peaks that stand out of their neighbourhood.

    Args:
        power: what `hann_power` gave.
        bin_hz: width of a bin.

    Returns:
        Frequency in Hz and power of each, strongest first.
    """
    low, width = max(2, int(LOWEST_HZ / bin_hz)), 16
    count = len(power) // width
    if count == 0:
        return []
    floor = np.repeat(np.median(power[: count * width].reshape(count, width), axis=1), width)
    end = len(floor) - 1
    inner = power[low:end]
    top = (inner > power[low - 1 : end - 1]) & (inner >= power[low + 1 : end + 1])
    top &= inner > ABOVE_FLOOR * floor[low:end] + 1e-14
    where = np.flatnonzero(top) + low
    where = where[np.argsort(-power[where])]
    peaks: list[tuple[float, float]] = []
    for k in where[: 4 * COUNT]:
        hz = _between(power, int(k)) * bin_hz
        apart = max(3.5 * bin_hz, 0.01 * hz)
        if power[k] < BELOW_STRONGEST * power[where[0]]:
            break
        if all(abs(hz - other) >= apart for other, _ in peaks):
            peaks.append((hz, float(power[k])))
    return peaks[:COUNT]


def _between(power: NDArray[np.float64], k: int) -> float:
    """Where a peak lies, in bins: under a Hann window the ratio r of the neighbours gives (2r - 1)/(r + 1)."""
    before, top, after = (float(v) for v in np.sqrt(power[k - 1 : k + 2]))
    ratio = max(before, after) / top
    shift = min(0.6, max(-0.6, (2.0 * ratio - 1.0) / (ratio + 1.0)))
    return k + (shift if after > before else -shift)
