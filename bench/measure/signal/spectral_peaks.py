"""Peaks of a chunk's spectrum: where tones may be."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

# No published source gives these figures: they are our own choice, checked by tests/measure/tone/test_finder.py and
# the rough tapes.

LOWEST_HZ = 20.0
HIGHEST_HZ = 24000.0
"""No tape holds a tone above."""
COUNT = 6
"""The most peaks that are returned."""
ABOVE_FLOOR = 12.0
"""The least ratio of a peak's power to the median of its neighbourhood."""
NEIGHBOURHOODS = ((16, 1000.0), (48, 4000.0), (128, 1e9))
"""Width of a neighbourhood in bins, and the frequency up to which it has that width."""
SIDEBAND, ALIKE = 0.1, 4.0
"""A sideband has less than this fraction of the tone's power; the two of a pair differ in power by less than this
factor."""
FASTEST_HZ, SIDE_REACH = 220.0, 0.1
"""The largest distance of a sideband from its tone: the band of flutter, and a fraction of the tone's frequency."""
SAME_BINS = 0.7
"""Two sidebands are a pair if their distances from the tone differ by less than this, in bins."""
HIDDEN = 4.5
"""Nearer to the tone than this, in bins, its skirt may hide the other sideband of a pair."""
HANN_BINS = 1.5
"""The power of a line under a Hann window, summed over its bins, in parts of that of the bin in its middle."""
EVERY_OTHER = 100
"""In a neighbourhood of at least this many bins, every other bin is enough for the median."""
FEW = 24
"""For up to this many peaks the floor is computed at each peak; for more, over the whole spectrum at once."""
WOW, MOST, SHARP = 0.045, 0.7, 0.9
"""How far wow of 2 % peak takes a tone from one end to the other, as a fraction. Where the second part of all power
lies within that, it is one tone; unless its peak has the third part of it, wow spreads it over several."""
BELOW_STRONGEST = 1e-5
"""A peak with a smaller fraction of the strongest peak's power is ignored: it may be the skirt of the window."""


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
    """Peaks that stand out from their neighbourhood.

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
    if not len(where) or power[where].max() < strongest:  # it was no peak, so the next strongest decides
        where = _standing_out(power, bin_hz, low, 0.0)
    where = where[np.argsort(-power[where])]
    peaks: list[tuple[float, float]] = []
    for k in where[: 4 * COUNT]:
        hz = between(power, int(k)) * bin_hz
        apart = max(3.5 * bin_hz, 0.01 * hz)
        if power[k] < BELOW_STRONGEST * power[where[0]]:
            break
        if all(abs(hz - other) >= apart for other, _ in peaks):
            peaks.append((hz, float(power[k])))
    return _gathered(peaks[:COUNT], power, bin_hz)


def without_sidebands(peaks: list[tuple[float, float]], bin_hz: float) -> list[tuple[float, float]]:
    """Remove the pairs of peaks around a much stronger one: flutter or a varying level makes them of a tone.

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


def sounds_alone(power: NDArray[np.float64], bin_hz: float) -> bool:
    """Whether one tone, which wow may spread, has nearly all the power; that of a voice lies in many places.

    Args:
        power: what `hann_power` gave.
        bin_hz: width of a bin.
    """
    low = max(2, int(LOWEST_HZ / bin_hz))
    k = low + int(np.argmax(power[low:-1]))
    near = power[max(low, int(k * (1.0 - WOW))) : int(k * (1.0 + WOW)) + 2]
    return bool(near.sum() > MOST * power[low:].sum())


def _gathered(peaks: list[tuple[float, float]], power: NDArray[np.float64], bin_hz: float) -> list[tuple[float, float]]:
    """The peaks, with those into which wow spreads a tone that sounds alone as one, at its middle."""
    low = max(2, int(LOWEST_HZ / bin_hz))
    k = low + int(np.argmax(power[low:-1]))
    first, end = max(low, int(k * (1.0 - WOW))), int(k * (1.0 + WOW)) + 2
    near = power[first:end]
    whole = float(near.sum())
    if whole < MOST * float(power[low:].sum()) or float(power[k - 1 : k + 2].sum()) > SHARP * whole or whole < 1e-14:
        return peaks
    hz = float(near @ np.arange(first, first + len(near))) / whole * bin_hz
    return [(hz, whole / HANN_BINS), *(p for p in peaks if abs(p[0] - hz) > WOW * hz)]


def _standing_out(power: NDArray[np.float64], bin_hz: float, low: int, least: float) -> NDArray[np.intp]:
    """The bins from `low` on of peaks that stand out from their neighbourhood, with a power of at least `least`."""
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
    """The median of each row. In wide rows every other bin is enough: under a Hann window neighbours are alike."""
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
    """The same, for a few bins only."""
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


def between(power: NDArray[np.float64], k: int) -> float:
    """Where a peak lies, in bins: under a Hann window the ratio r of the neighbours gives (2r - 1)/(r + 1)."""
    before, top, after = (float(v) for v in np.sqrt(power[k - 1 : k + 2]))
    ratio = max(before, after) / top
    shift = min(0.6, max(-0.6, (2.0 * ratio - 1.0) / (ratio + 1.0)))
    return k + (shift if after > before else -shift)
