"""Clicks and dropouts of one channel of a tone: where they are, so that they are passed over."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.measure.tone.baseband import Complexes, Floats, median

FLAW_DB, FLAWED = 0.5, 3.5
"""A short departure of the level is passed over from here on, and from so many times what the level departs by for
`USUAL` of the time; of Gaussian noise that is 4.5 standard deviations."""
USUAL, MOST = 0.8, 0.4
"""Where more than the second part of a tone would be passed over, nothing is: that is no dropout."""
LOWEST = 1e-4
"""What is further below the level about it, as a ratio, is taken for this."""
ABOUT_S, BLOCKS = (0.12, 0.3, 1.1), 11
"""The level about a place is the median, over so long, of the medians over this part of it: no dropout moves it. Wander
is followed best over the shortest time; a dropout that lasts nearly as long shows over a longer one."""
BESIDE = 16
"""A bridge runs from the mean of so many points before it to that of those after it."""
SLOPES = 0.25
"""The sides of a dropout extend beyond what is visible of it by this fraction of its length; our own choice."""
FILTER_POINTS = 13
"""Half length of the tracking filter: a click is seen so far to either side."""


def flaws(along: Complexes, rate: float) -> NDArray[np.bool_]:
    """Where a click or a dropout is: a short departure, far beyond the noise, from the level about it."""
    none = np.zeros(len(along), dtype=bool)
    level = along.real
    bad = _far(np.abs(along.imag), (10.0 ** (FLAW_DB / 20.0) - 1.0) * np.abs(level))
    for seconds in ABOUT_S:
        about = np.maximum(_level_about(level, rate, seconds), 1e-12)
        # In dB, because wander goes as far up there as down: by what is passed over, the mean must not move.
        bad |= _far(20.0 * np.abs(np.log10(np.maximum(level / about, LOWEST))), FLAW_DB)
    if not bad.any():
        return none
    wide = np.convolve(bad, np.ones(2 * FILTER_POINTS + 1), mode="same") > 0.5
    edges = np.flatnonzero(np.diff(np.concatenate([[0], wide.astype(np.int8), [0]])))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        slope = round(SLOPES * max(0, stop - start - 2 * FILTER_POINTS))
        wide[max(0, start - slope) : stop + slope] = True
    return np.asarray(wide) if wide.mean() < MOST else none


def _far(off: Floats, least: Floats | float) -> NDArray[np.bool_]:
    """Where a course is off by far more than it usually is, and by more than the least."""
    at = int(USUAL * (len(off) - 1))
    usual = float(np.partition(off, at)[at])
    return np.asarray(off > np.maximum(FLAWED * usual, least))


def _level_about(level: Floats, rate: float, seconds: float) -> Floats:
    """The level about each point."""
    block = max(8, round(seconds / BLOCKS * rate))
    count = len(level) // block
    if count < 2:
        return np.full(len(level), median(level))
    medians = np.partition(level[: count * block].reshape(count, block), block // 2, axis=1)[:, block // 2]
    half = min(BLOCKS // 2, (count - 1) // 2)
    padded = np.pad(medians, half, mode="reflect") if half else medians
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    calm = np.partition(windows, half, axis=1)[:, half]
    return np.asarray(np.interp(np.arange(len(level)), block * (np.arange(count) + 0.5), calm))


def bridged(x: Floats, kept: NDArray[np.bool_]) -> Floats:
    """A course with what is not kept bridged by straight lines."""
    if kept.all():
        return x
    out = x.copy()
    edges = np.flatnonzero(np.diff(np.concatenate([[1], kept.astype(np.int8), [1]])))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        before, after = out[max(0, start - BESIDE) : start], x[stop : stop + BESIDE]
        ends = before.mean() if len(before) else after.mean(), after.mean() if len(after) else before.mean()
        out[start:stop] = np.linspace(*ends, stop - start + 2)[1:-1]
    return out
