"""Peaks in the spectrum of a chunk, which may be tones."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

# No published source gives these figures: they are our own choice, checked by tests/measure/tone/test_finder.py and
# the rough tapes.

LOWEST_HZ = 20.0
HIGHEST_HZ = 24000.0
"""No tape holds a tone above this."""
COUNT = 6
"""The most peaks that are returned."""
ABOVE_FLOOR = 12.0
"""The least ratio of a peak's power to the median of its neighbourhood."""
NEIGHBOURHOODS = ((16, 1000.0), (48, 4000.0), (128, 1e9))
"""Width of a neighbourhood in bins, and the frequency up to which it has that width."""
SIDEBAND, PAIR_RATIO = 0.1, 4.0
"""A sideband has less than this fraction of the tone's power; the two of a pair differ in power by less than this
factor."""
FASTEST_HZ, SIDEBAND_RANGE = 220.0, 0.1
"""The largest distance of a sideband from its tone: the band of flutter, and a fraction of the tone's frequency."""
SAME_BINS = 0.7
"""Two sidebands are a pair if their distances from the tone differ by less than this number of bins."""
MASKED_BINS = 4.5
"""Nearer to the tone than this number of bins, its leakage may mask the other sideband of a pair."""
HANN_BINS = 1.5
"""Power of a line under a Hann window, summed over its bins, relative to that of its centre bin."""
EVERY_OTHER = 100
"""In a neighbourhood of at least this many bins, every other bin is enough for the median."""
FEW_PEAKS = 24
"""For up to this many peaks the floor is computed at each peak; for more, over the whole spectrum at once."""
WOW, ONE_TONE, SHARP_PEAK = 0.045, 0.7, 0.9
"""Peak-to-peak deviation of wow of 2 % peak, as a fraction, with a margin. If more than the second fraction of all
power lies within that range, it is one tone; wow spreads it unless its peak has more than the third fraction of it."""
BELOW_STRONGEST = 1e-5
"""A peak with a smaller fraction of the strongest peak's power is ignored, because it may be window leakage."""


def hann_power(spectrum: NDArray[np.complex128], bin_hz: float = 0.0) -> NDArray[np.float64]:
    """Total power of all channels under a Hann window, applied in the frequency domain over three bins.

    Args:
        spectrum: one-sided, shape (channels, bins), of an even number of samples.
        bin_hz: width of a bin; if given, bins above `HIGHEST_HZ` are omitted.

    Returns:
        For each bin, the squared peak amplitude of a sine at its centre.
    """
    size = 2 * (spectrum.shape[1] - 1)
    spectrum = spectrum[:, : int(HIGHEST_HZ / bin_hz) + 2] if bin_hz else spectrum
    parts = np.ascontiguousarray(spectrum).view(np.float64)  # interleaved real and imaginary: half the work of complex
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
        power: from `hann_power`.
        bin_hz: width of a bin.

    Returns:
        Frequency in Hz and power of each, strongest first.
    """
    low, end = max(2, int(LOWEST_HZ / bin_hz)), len(power) - 1
    if end < low + 1:
        return []
    strongest = float(power[low:end].max())
    least = BELOW_STRONGEST * strongest
    where = _standing_out(power, bin_hz, low, least)
    if (not len(where) or power[where].max() < strongest) and power[low:end].min() < least:
        where = _standing_out(power, bin_hz, low, 0.0)  # the strongest bin is not a peak: search without that limit
    where = where[np.argsort(-power[where])]
    peaks: list[tuple[float, float]] = []
    for k in where[: 4 * COUNT]:
        hz = between(power, int(k)) * bin_hz
        apart = max(3.5 * bin_hz, 0.01 * hz)
        if power[k] < BELOW_STRONGEST * power[where[0]]:
            break
        if all(abs(hz - other) >= apart for other, _ in peaks) and not _on_slope(power, bin_hz, int(k)):
            peaks.append((hz, float(power[k])))
    return _gathered(peaks[:COUNT], power, bin_hz)


def without_sidebands(peaks: list[tuple[float, float]], bin_hz: float) -> list[tuple[float, float]]:
    """Remove pairs of peaks around a much stronger one: they are sidebands from flutter or a varying level.

    Args:
        peaks: frequency in Hz and power of each, strongest first.
        bin_hz: width of a bin.
    """

    def mirrored(hz: float, power: float) -> bool:
        for tone_hz, strength in peaks:
            if power > SIDEBAND * strength:
                return False
            away = abs(hz - tone_hz)
            if away < min(FASTEST_HZ, SIDEBAND_RANGE * tone_hz):
                twins = [p for o, p in peaks if abs(o + hz - 2.0 * tone_hz) < SAME_BINS * bin_hz]
                if away < MASKED_BINS * bin_hz or any(power < PAIR_RATIO * p < PAIR_RATIO**2 * power for p in twins):
                    return True
        return False

    return [p for p in peaks if not mirrored(*p)]


def sounds_alone(power: NDArray[np.float64], bin_hz: float) -> bool:
    """Whether one tone, perhaps spread by wow, has most of the power; the power of a voice is distributed.

    Args:
        power: from `hann_power`.
        bin_hz: width of a bin.
    """
    low = max(2, int(LOWEST_HZ / bin_hz))
    k = low + int(np.argmax(power[low:-1]))
    near = power[max(low, int(k * (1.0 - WOW))) : int(k * (1.0 + WOW)) + 2]
    return bool(near.sum() > ONE_TONE * power[low:].sum())


def _gathered(peaks: list[tuple[float, float]], power: NDArray[np.float64], bin_hz: float) -> list[tuple[float, float]]:
    """The peaks, with those of a lone tone that wow has spread merged into one at its centroid."""
    low = max(2, int(LOWEST_HZ / bin_hz))
    k = low + int(np.argmax(power[low:-1]))
    first, end = max(low, int(k * (1.0 - WOW))), int(k * (1.0 + WOW)) + 2
    near = power[first:end]
    whole = float(near.sum())
    if (
        whole < ONE_TONE * float(power[low:].sum())
        or float(power[k - 1 : k + 2].sum()) > SHARP_PEAK * whole
        or whole < 1e-14
    ):
        return peaks
    hz = float(near @ np.arange(first, first + len(near))) / whole * bin_hz
    return [(hz, whole / HANN_BINS), *(p for p in peaks if abs(p[0] - hz) > WOW * hz)]


def _on_slope(power: NDArray[np.float64], bin_hz: float, k: int) -> bool:
    """Whether a peak does not stand out from the neighbourhood beside its own: it is noise on the slope of a filter."""
    for at, width, blocks in _neighbourhoods(len(power), bin_hz):
        if at <= k < at + blocks * width:
            nearer = -width if (k - at) % width < width // 2 else width
            beside = _floor_near(power, bin_hz, np.array([min(max(k + nearer, 0), len(power) - 1)]))
            return bool(power[k] <= ABOVE_FLOOR * beside[0])
    return bool(power[k] <= ABOVE_FLOOR * _floor_near(power, bin_hz, np.array([k - NEIGHBOURHOODS[-1][0]]))[0])


def _standing_out(power: NDArray[np.float64], bin_hz: float, low: int, least: float) -> NDArray[np.intp]:
    """The bins, from `low` on, of peaks with a power of at least `least` that stand out from their neighbourhood."""
    inner = power[low:-1]
    peaks = (inner >= max(least, 1e-14)) & (inner > power[low - 1 : -2]) & (inner >= power[low + 1 :])
    where = np.flatnonzero(peaks) + low
    floor = _floor(power, bin_hz)[where] if len(where) > FEW_PEAKS else _floor_near(power, bin_hz, where)
    return where[power[where] > ABOVE_FLOOR * floor + 1e-14]


@lru_cache(maxsize=16)
def _neighbourhoods(count: int, bin_hz: float) -> tuple[tuple[int, int, int], ...]:
    """First bin, width and number of the neighbourhoods of each width in a spectrum of `count` bins."""
    out = []
    at = 0
    for width, below_hz in NEIGHBOURHOODS:
        blocks = max(0, (min(round(below_hz / bin_hz), count) - at) // width)
        out.append((at, width, blocks))
        at += blocks * width
    return tuple(out)


def _middle(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """The median of each row. In wide rows every other bin is enough, because a Hann window correlates neighbours."""
    rows = rows[:, :: 1 if rows.shape[1] < EVERY_OTHER else 2]
    half = rows.shape[1] // 2
    rows = rows.copy()
    rows.partition(half, axis=1)
    return rows[:, half]


def _rest(power: NDArray[np.float64]) -> float:
    """The median of the last bins, which do not fill a neighbourhood."""
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
    """The same as `_floor`, for a few bins only."""
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
    """Position of a peak in bins: a Hann window gives the offset (2r - 1)/(r + 1) for the ratio r to its neighbour."""
    before, top, after = (float(v) for v in np.sqrt(power[k - 1 : k + 2]))
    ratio = max(before, after) / top
    shift = min(0.6, max(-0.6, (2.0 * ratio - 1.0) / (ratio + 1.0)))
    return k + (shift if after > before else -shift)
