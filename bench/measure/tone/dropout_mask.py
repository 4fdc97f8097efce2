"""Clicks and dropouts of one channel of a tone: where they are, so that they are passed over."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.measure.tone.baseband import Complexes, Floats, median

FLAW_DB, FLAWED = 1.0, 4.0
"""A short departure of the level is passed over from here on, and from so many times what the level wanders by within
`NEIGHBOURHOOD_S` (standard deviations)."""
BLOCK_S, NEIGHBOURHOOD_S = 0.1, 1.1
"""The level about a place is the median, over the second, of the medians over the first: no dropout moves it."""
SLOPES = 0.25
"""The sides of a dropout extend beyond what is visible of it by this fraction of its length; our own choice."""
FILTER_POINTS = 13
"""Half length of the tracking filter: a click is seen so far to either side."""


def flaws(along: Complexes, rate: float) -> NDArray[np.bool_]:
    """Where a click or a dropout is: a short departure, far beyond the noise, from the level about it."""
    none = np.zeros(len(along), dtype=bool)
    level = along.real
    middles, wander = _level_about(level, rate)
    off = np.maximum(np.abs(level - middles), np.abs(along.imag))
    noise = 1.4826 * median(np.abs(level - middles))
    bad = off > np.maximum(np.maximum(7.0 * noise, FLAWED * wander), (10 ** (FLAW_DB / 20) - 1) * np.abs(middles))
    if not bad.any():
        return none
    wide = np.convolve(bad, np.ones(2 * FILTER_POINTS + 1), mode="same") > 0.5
    edges = np.flatnonzero(np.diff(np.concatenate([[0], wide.astype(np.int8), [0]])))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        slope = round(SLOPES * max(0, stop - start - 2 * FILTER_POINTS))
        wide[max(0, start - slope) : stop + slope] = True
    return np.asarray(wide) if wide.mean() < 0.25 else none


def _level_about(level: Floats, rate: float) -> tuple[Floats, float]:
    """The level about each point, and by how much the level wanders about that (standard deviation)."""
    block = max(8, round(BLOCK_S * rate))
    count = len(level) // block
    if count < 2:
        return median(level) * np.ones(len(level)), 0.0
    medians = np.partition(level[: count * block].reshape(count, block), block // 2, axis=1)[:, block // 2]
    half = min(round(0.5 * NEIGHBOURHOOD_S / BLOCK_S), (count - 1) // 2)
    padded = np.pad(medians, half, mode="reflect") if half else medians
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    calm = np.partition(windows, half, axis=1)[:, half]
    wander = 1.4826 * median(np.abs(medians - calm))
    return np.interp(np.arange(len(level)), block * (np.arange(count) + 0.5), calm), wander


def bridged(x: Floats, kept: NDArray[np.bool_]) -> Floats:
    """A course with what is not kept bridged by straight lines."""
    if kept.all():
        return x
    at = np.arange(len(x))
    return np.interp(at, at[kept], x[kept])
