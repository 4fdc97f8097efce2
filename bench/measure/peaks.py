"""Peaks of a chunk's spectrum: where tones may be."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

LOWEST_HZ = 20.0
HIGHEST_HZ = 24000.0
"""No tape holds a tone above."""
COUNT = 6
"""How many are told at most."""
ABOVE_FLOOR = 12.0
"""Power of a peak over the median of its neighbourhood."""
NEIGHBOURHOODS = ((16, 1000.0), (48, 4000.0), (128, 1e9))
"""Bins of a neighbourhood, and the frequency up to which it is so wide."""
SIDEBAND, ALIKE = 0.1, 4.0
"""Sidebands have less than the first part of the tone's power, and differ by less than the second."""
FASTEST_HZ, SIDE_REACH = 220.0, 0.1
"""How far sidebands lie at most: flutter's own band, and in parts of the tone's frequency."""
SAME_BINS = 0.7
HIDDEN = 4.5
"""Bins; nearer than this the other of a pair may be hidden by the tone's own skirt."""
EVERY_OTHER = 100
"""Neighbourhoods at least so wide are looked at in every other bin."""
BELOW_STRONGEST = 1e-5
"""A peak weaker than this against the strongest is not told: it may be the window's skirt."""


def hann_power(spectrum: NDArray[np.complex128], bin_hz: float = 0.0) -> NDArray[np.float64]:
    """Power of all channels under a Hann window, which is a sum of three bins.

    Args:
        spectrum: one-sided, shape (channels, bins), of an even number of samples.
        bin_hz: width of a bin; where it is given, what lies above `HIGHEST_HZ` is left out.

    Returns:
        For each bin the squared peak amplitude of a sine that lies there.
    """
    size = 2 * (spectrum.shape[1] - 1)
    spectrum = spectrum[:, : int(HIGHEST_HZ / bin_hz) + 2] if bin_hz else spectrum
    hann = spectrum.copy()
    hann[:, 1:-1] -= 0.5 * (spectrum[:, 2:] + spectrum[:, :-2])
    squares = hann.view(np.float64)
    squares *= squares
    both = squares.sum(axis=0)
    return np.asarray((both[::2] + both[1::2]) * (2.0 / size) ** 2)


def strongest_peaks(power: NDArray[np.float64], bin_hz: float) -> list[tuple[float, float]]:
    """Peaks that stand out of their neighbourhood.

    Args:
        power: what `hann_power` gave.
        bin_hz: width of a bin.

    Returns:
        Frequency in Hz and power of each, strongest first.
    """
    low = max(2, int(LOWEST_HZ / bin_hz))
    floor = _floor(power, bin_hz)
    if len(floor) < low + 2:
        return []
    end = len(floor) - 1
    where = np.flatnonzero(power[low:end] > ABOVE_FLOOR * floor[low:end] + 1e-14) + low
    here = power[where]
    where = where[(here > power[where - 1]) & (here >= power[where + 1])]
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


def without_sidebands(peaks: list[tuple[float, float]], bin_hz: float) -> list[tuple[float, float]]:
    """Peaks less those in pairs about a much stronger one: what flutter, or a level that wobbles, makes of a tone.

    Args:
        peaks: frequency in Hz and power of each, strongest first.
        bin_hz: width of a bin.
    """

    def mirrored(hz: float, power: float) -> bool:
        for tone_hz, strength in peaks:
            if power > SIDEBAND * strength:
                return False
            away = abs(hz - tone_hz)
            if away < min(FASTEST_HZ, SIDE_REACH * tone_hz):
                twins = [p for o, p in peaks if abs(o + hz - 2.0 * tone_hz) < SAME_BINS * bin_hz]
                if away < HIDDEN * bin_hz or any(power < ALIKE * p < ALIKE**2 * power for p in twins):
                    return True
        return False

    return [p for p in peaks if not mirrored(*p)]


def _floor(power: NDArray[np.float64], bin_hz: float) -> NDArray[np.float64]:
    """Median of each bin's neighbourhood, which is wider at high frequencies: flutter spreads a tone there.

    Of wide ones every other bin will do: neighbours tell much the same under a Hann window.
    """
    parts = []
    at = 0
    for width, below_hz in NEIGHBOURHOODS:
        end = min(round(below_hz / bin_hz), len(power))
        blocks = (end - at) // width
        if blocks > 0:
            rows = power[at : at + blocks * width].reshape(blocks, width)[:, :: 1 if width < EVERY_OTHER else 2]
            half = rows.shape[1] // 2
            parts.append(np.repeat(np.partition(rows, half, axis=1)[:, half], width))
            at += blocks * width
    if at < len(power):
        last = power[max(0, len(power) - NEIGHBOURHOODS[0][0]) :]
        parts.append(np.full(len(power) - at, np.partition(last, len(last) // 2)[len(last) // 2]))
    return np.concatenate(parts)


def _between(power: NDArray[np.float64], k: int) -> float:
    """Where a peak lies, in bins: under a Hann window the ratio r of the neighbours gives (2r - 1)/(r + 1)."""
    before, top, after = (float(v) for v in np.sqrt(power[k - 1 : k + 2]))
    ratio = max(before, after) / top
    shift = min(0.6, max(-0.6, (2.0 * ratio - 1.0) / (ratio + 1.0)))
    return k + (shift if after > before else -shift)
