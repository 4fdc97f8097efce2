"""A mask of the clicks and dropouts in one channel of a tone, so that they can be bridged."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Complexes, Floats
from bench.measure.tone.baseband import median

LEAST_DB, OUTLIER = 0.5, 3.5
"""A short deviation of the level is masked if it exceeds both of these: dB, and a multiple of the `QUANTILE` of the
deviations (4.5 standard deviations for Gaussian noise)."""
QUANTILE, MOST_MASKED = 0.8, 0.4
"""If more than the second fraction of a tone would be masked, nothing is, because that cannot be dropouts."""
LOWEST = 1e-4
"""Lowest ratio of a level to the local level; lower ratios are raised to this."""
LOCAL_S, BLOCKS = (0.12, 0.3, 1.1), 11
"""The local level is the median, over each of these times, of the medians of its blocks, which resists dropouts. The
shortest time follows wander best; a longer one shows dropouts that last nearly as long as the shortest."""
BESIDE = 16
"""A bridge runs from the mean of this many points before it to the mean of this many after it."""
SLOPES = 0.25
"""The slopes of a dropout extend beyond its visible part by this fraction of its length; our own choice."""
FILTER_POINTS = 13
"""Half length of the tracking filter, which spreads a click this far to either side."""


def flaws(along: Complexes, rate: float) -> NDArray[np.bool_]:
    """Mask of clicks and dropouts: short deviations from the local level, far beyond the noise."""
    none = np.zeros(len(along), dtype=bool)
    level = along.real
    bad = _outliers(np.abs(along.imag), (10.0 ** (LEAST_DB / 20.0) - 1.0) * np.abs(level))
    for seconds in LOCAL_S:
        about = np.maximum(_local_level(level, rate, seconds), 1e-12)
        # In dB, in which wander is symmetrical, so that masking does not shift the mean.
        bad |= _outliers(20.0 * np.abs(np.log10(np.maximum(level / about, LOWEST))), LEAST_DB)
    if not bad.any():
        return none
    wide = np.convolve(bad, np.ones(2 * FILTER_POINTS + 1), mode="same") > 0.5
    edges = np.flatnonzero(np.diff(np.concatenate([[0], wide.astype(np.int8), [0]])))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        slope = round(SLOPES * max(0, stop - start - 2 * FILTER_POINTS))
        wide[max(0, start - slope) : stop + slope] = True
    return np.asarray(wide) if wide.mean() < MOST_MASKED else none


def _outliers(off: Floats, least: Floats | float) -> NDArray[np.bool_]:
    """Mask of the outliers among deviations from a level that exceed `least`."""
    at = int(QUANTILE * (len(off) - 1))
    usual = float(np.partition(off, at)[at])
    return np.asarray(off > np.maximum(OUTLIER * usual, least))


def _local_level(level: Floats, rate: float, seconds: float) -> Floats:
    """The local level at each point."""
    block = max(8, round(seconds / BLOCKS * rate))
    count = len(level) // block
    if count < 2:
        return np.full(len(level), median(level))
    medians = np.partition(level[: count * block].reshape(count, block), block // 2, axis=1)[:, block // 2]
    half = min(BLOCKS // 2, (count - 1) // 2)
    around = np.arange(count)[:, None] + np.arange(-half, half + 1)  # for so few points faster than a view of windows
    around = count - 1 - np.abs(count - 1 - np.abs(around))  # reflected at both ends
    calm = np.partition(medians[around], half, axis=1)[:, half]
    return np.asarray(np.interp(np.arange(len(level)), block * (np.arange(count) + 0.5), calm))


def bridged(x: Floats, kept: NDArray[np.bool_]) -> Floats:
    """A course in which points that are not kept are bridged by straight lines."""
    if kept.all():
        return x
    out = x.copy()
    edges = np.flatnonzero(np.diff(np.concatenate([[1], kept.astype(np.int8), [1]])))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        before, after = out[max(0, start - BESIDE) : start], x[stop : stop + BESIDE]
        ends = before.mean() if len(before) else after.mean(), after.mean() if len(after) else before.mean()
        out[start:stop] = np.linspace(*ends, stop - start + 2)[1:-1]
    return out
