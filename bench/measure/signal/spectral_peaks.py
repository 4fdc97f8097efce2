"""Peaks of a chunk's spectrum: where tones may be."""

from __future__ import annotations

from functools import lru_cache

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
FEW = 24
"""The floor is looked at under so many peaks alone; under more, everywhere at once."""
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
    parts = np.ascontiguousarray(spectrum).view(np.float64)  # real and imaginary by turns: half the work of complex
    hann = np.empty_like(parts)
    inner = hann[:, 2:-2]
    np.add(parts[:, 4:], parts[:, :-4], out=inner)
    inner *= -0.5
    inner += parts[:, 2:-2]
    hann[:, :2], hann[:, -2:] = parts[:, :2], parts[:, -2:]
    hann *= hann
    both = hann[0]
    for other in hann[1:]:
        both += other
    power = both[::2] + both[1::2]
    power *= (2.0 / size) ** 2
    return np.asarray(power)


def strongest_peaks(power: NDArray[np.float64], bin_hz: float) -> list[tuple[float, float]]:
    """Peaks that stand out of their neighbourhood.

    Args:
        power: what `hann_power` gave.
        bin_hz: width of a bin.

    Returns:
        Frequency in Hz and power of each, strongest first.
    """
    low, end = max(2, int(LOWEST_HZ / bin_hz)), len(power) - 1
    if end < low + 1:
        return []
    strongest = float(power[low:end].max())
    where = _standing_out(power, bin_hz, low, BELOW_STRONGEST * strongest)
    if not len(where) or power[where].max() < strongest:  # that was no peak: what is told is told of the next
        where = _standing_out(power, bin_hz, low, 0.0)
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


def _standing_out(power: NDArray[np.float64], bin_hz: float, low: int, least: float) -> NDArray[np.intp]:
    """The bins from `low` on of peaks that stand out of their neighbourhood and have at least a power of `least`."""
    inner = power[low:-1]
    where = np.flatnonzero(inner >= max(least, 1e-14)) + low
    here = power[where]
    where = where[(here > power[where - 1]) & (here >= power[where + 1])]
    floor = _floor(power, bin_hz)[where] if len(where) > FEW else _floor_near(power, bin_hz, where)
    return where[power[where] > ABOVE_FLOOR * floor + 1e-14]


@lru_cache(maxsize=16)
def _neighbourhoods(count: int, bin_hz: float) -> tuple[tuple[int, int, int], ...]:
    """Where neighbourhoods of each width begin, their width, and how many there are; of `count` bins."""
    out = []
    at = 0
    for width, below_hz in NEIGHBOURHOODS:
        blocks = max(0, (min(round(below_hz / bin_hz), count) - at) // width)
        out.append((at, width, blocks))
        at += blocks * width
    return tuple(out)


def _middle(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """The median of each neighbourhood, one in a row; of wide ones every other bin will do.

    Neighbours tell much the same under a Hann window.
    """
    rows = rows[:, :: 1 if rows.shape[1] < EVERY_OTHER else 2]
    half = rows.shape[1] // 2
    rows = rows.copy()
    rows.partition(half, axis=1)
    return rows[:, half]


def _rest(power: NDArray[np.float64]) -> float:
    """The median of the last bins, which fill no neighbourhood."""
    last = power[max(0, len(power) - NEIGHBOURHOODS[0][0]) :]
    return float(np.partition(last, len(last) // 2)[len(last) // 2])


def _floor(power: NDArray[np.float64], bin_hz: float) -> NDArray[np.float64]:
    """Median of each bin's neighbourhood, which is wider at high frequencies: flutter spreads a tone there."""
    floor = np.full(len(power), _rest(power))
    for at, width, blocks in _neighbourhoods(len(power), bin_hz):
        end = at + blocks * width
        floor[at:end] = np.repeat(_middle(power[at:end].reshape(blocks, width)), width)
    return floor


def _floor_near(power: NDArray[np.float64], bin_hz: float, where: NDArray[np.intp]) -> NDArray[np.float64]:
    """The same at a few bins alone."""
    floor = np.empty(len(where))
    for n, k in enumerate(where.tolist()):
        for at, width, blocks in _neighbourhoods(len(power), bin_hz):
            if at <= k < at + blocks * width:
                first = k - (k - at) % width
                floor[n] = _middle(power[None, first : first + width])[0]
                break
        else:
            floor[n] = _rest(power)
    return floor


def _between(power: NDArray[np.float64], k: int) -> float:
    """Where a peak lies, in bins: under a Hann window the ratio r of the neighbours gives (2r - 1)/(r + 1)."""
    before, top, after = (float(v) for v in np.sqrt(power[k - 1 : k + 2]))
    ratio = max(before, after) / top
    shift = min(0.6, max(-0.6, (2.0 * ratio - 1.0) / (ratio + 1.0)))
    return k + (shift if after > before else -shift)
