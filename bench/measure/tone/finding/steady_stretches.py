"""The stretches of a baseband in which a tone has a steady level and frequency.

A tone is recognised by its frequency: it stays within about 1 % for at least 0.4 s, or it swings to and fro within
2.5 % for longer, as wow makes it do and a voice does not. Its level may wander and have dropouts; but a lasting step
in level separates two takes, and attacks and fades are excluded. The least step follows from the tone's own wander.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.measure.tone.baseband import median
from bench.measure.tone.finding.frames import Frames

SHORTEST_S = 0.4
"""A shorter steady stretch is not a tone: sung vowels seldom hold a pitch that long (common practice, no source)."""
FREQUENCY_RANGE = 0.01
"""Greatest deviation of the frequency from its median, as a fraction: flutter of 0.3 % peak, and a margin."""
WOW_RANGE, WOW_S, WOW_RETURNS = 0.025, 1.2, 2
"""Greatest deviation with wow of 2 % peak, the least duration in that case, and the least number of reversals, which
excludes a glide."""
SWINGS = 0.4
"""Least swing to one side, as a fraction of the deviation that is allowed without wow."""
WOW_KNOWN_S, NEWEST = 5.0, 6
"""Slow wow is recognised within this time; a run that ends this near to the newest frame is still sounding."""
NEAR_PART, NEAR_HZ = 0.05, 3.5
"""Greatest distance of the tone from where its peak was first seen, perhaps at one extreme of its wow; hum near a low
tone shifts the peak too."""
TONAL = 12.0
"""Least signal-to-noise ratio of a frame with a tone; noise alone seldom attains it (our own choice)."""
CLICK_S = 0.06
"""A click up to this long does not end a tone."""
HOLE_S, HOLE_DB, ALIKE_DB = 0.28, 30.0, 3.0
"""Nor does a dropout: at most 200 ms and its slopes, rarely deeper than 25 dB (common practice, no source), with the
levels before and after it equal to within the third. A deeper fall is a gap between two takes."""
FADE_DB, FADE_S = 1.2, 0.5
"""An attack or fade starts at least this far from the level after this time; our own choice."""
STEP_DB, RAMP_DB, STEP_S = 0.6, 2.0, 0.25
"""Two plateaus are two takes if they differ by more than the first and the change is sudden, or by more than the
second within a quarter of a second."""
LASTS_S = 0.6
"""A dropout does not last as long as a step."""
BEYOND_WANDER = 5.0
"""Least step, in standard deviations of the changes over the same time elsewhere; random changes seldom exceed it."""
FEW_WINDOWS = 6.0
"""A standard deviation of changes from only n windows is raised by this, divided by n; found with the rough tapes."""
QUARTILE = 0.3186
"""A quarter of normal deviates are smaller than this, in standard deviations."""


class Run(NamedTuple):
    """A stretch of steady tone, in frames."""

    first: int
    last: int
    """The frame after the last."""
    end: int
    """The frame after the last before trimming: near the newest frame while the tone continues."""
    undecided: bool
    """Whether it may prove to be part of a tone with slow wow that is still sounding."""


def steady_runs(frames: Frames, tone_hz: float, offset_hz: float) -> list[Run]:
    """The stretches of steady tone, without their edges.

    Args:
        frames: from `make_frames`.
        tone_hz: approximate frequency of the tone.
        offset_hz: the same, relative to the oscillator.
    """
    out: list[Run] = []
    for first, last, undecided in _tonal_runs(frames, tone_hz, offset_hz):
        for a, b in _plateaus(frames, first, last):
            start, stop = _trim(frames, a, b)
            if (stop - start) * frames.seconds >= SHORTEST_S:
                out.append(Run(start, stop, b, undecided))
    return out


def _spread_db(frames: Frames) -> Floats:
    """Standard deviation of the level of each frame due to noise alone, dB."""
    return np.asarray(8.686 / np.sqrt(2.0 * np.maximum(frames.snr, 1.0)))


def _tonal_runs(frames: Frames, tone_hz: float, offset_hz: float) -> list[tuple[int, int, bool]]:
    """Runs of one frequency, with short breaks bridged, and whether each is undecided."""
    reach = FREQUENCY_RANGE * tone_hz + 0.3
    shortest = round(SHORTEST_S / 2 / frames.seconds)
    near = abs(frames.frequency_hz - offset_hz) < max(NEAR_PART * tone_hz, NEAR_HZ)
    tonal = (frames.snr > TONAL) & near
    for a, b in _stretches(~tonal):
        if a > 0 and b < len(tonal) and _bridged(frames, a, b):
            tonal[a:b] = True
    runs = []
    for a, b in _stretches(tonal):
        if b - a >= shortest:
            own = _one_frequency(frames, a, b, reach, shortest)
            undecided = own != [(a, b)] and b > len(tonal) - NEWEST and (b - a) * frames.seconds < WOW_KNOWN_S
            runs += [(first, last, undecided) for first, last in own]
    return runs


def _bridged(frames: Frames, first: int, last: int) -> bool:
    """Whether a break is a click or a dropout within one tone."""
    seconds = (last - first) * frames.seconds
    if seconds <= max(CLICK_S, frames.seconds):
        return True
    few = max(2, round(0.1 / frames.seconds))
    places = slice(max(0, first - few), first), slice(first, last), slice(last, last + few)
    before, within, after = (median(frames.level_db[place]) for place in places)
    return seconds <= HOLE_S and abs(before - after) < ALIKE_DB and within > max(before, after) - HOLE_DB


def _one_frequency(frames: Frames, first: int, last: int, reach: float, shortest: int) -> list[tuple[int, int]]:
    """The parts of a run that stay near their own median frequency; none if it glides."""
    if last - first < shortest:
        return []
    snr = np.maximum(frames.snr[first:last], 1.0)
    noise_hz = 2.0 / (2 * np.pi * frames.seconds * np.sqrt(snr))
    smooth = _running_median(frames.frequency_hz[first:last], 7)
    inside = np.abs(smooth - median(smooth)) < reach + median(noise_hz)
    if inside.all():
        return [(first, last)]
    start, stop = _wowing(smooth, reach, frames.seconds)
    if (start, stop) == (0, last - first):
        return [(first, last)]
    if start == stop:
        start, stop = _longest(inside)
    if stop - start < shortest:
        return []
    own = _one_frequency(frames, first + start, first + stop, reach, shortest)
    before = _one_frequency(frames, first, first + start, reach, shortest)
    return before + own + _one_frequency(frames, first + stop, last, reach, shortest)


def _wowing(hz: Floats, reach: float, seconds: float) -> tuple[int, int]:
    """The stretch in which wow makes a frequency swing to both sides of its median, beyond the usual range.

    Args:
        hz: frequency of each frame.
        reach: greatest deviation from the median without wow.
        seconds: length of a frame.

    Returns:
        First frame and the one after the last; equal if there is no wow.
    """
    away = hz - median(hz)
    start, stop = _longest(np.abs(away) < reach * WOW_RANGE / FREQUENCY_RANGE)
    swings = np.sign(away[start:stop][np.abs(away[start:stop]) > SWINGS * reach])
    returns = np.count_nonzero(np.diff(swings)) >= WOW_RETURNS
    return (start, stop) if returns and (stop - start) * seconds >= WOW_S else (0, 0)


def _stretches(true: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """The stretches of True: first index, and the index after the last."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], true.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _longest(inside: NDArray[np.bool_]) -> tuple[int, int]:
    """The longest stretch of True."""
    return max(_stretches(inside), key=lambda s: s[1] - s[0], default=(0, 0))


def _running_median(x: Floats, width: int) -> Floats:
    if len(x) < width:
        return np.full(len(x), median(x)) if len(x) else x
    half = width // 2
    padded = np.concatenate([np.full(half, x[0]), x, np.full(half, x[-1])])
    return _medians(padded, width)


def _medians(x: Floats, width: int) -> Floats:
    """The median of every window of an odd width; much faster than numpy's, which also checks for NaN."""
    half = width // 2
    return np.asarray(np.partition(np.lib.stride_tricks.sliding_window_view(x, width), half, axis=1)[:, half])


def _plateaus(frames: Frames, first: int, last: int) -> list[tuple[int, int]]:
    """Split a run where its level steps or moves from one plateau to another."""
    wide = max(4, round(STEP_S / frames.seconds) // 2 * 2)
    if last - first < 2 * wide:
        return [(first, last)]
    level = _running_median(frames.level_db[first:last], 3)
    noise = median(_spread_db(frames)[first:last])
    own = 1.4826 * median(np.abs(np.diff(level))) / np.sqrt(2.0)
    windows = _medians(level, wide - 1)
    middle = np.arange(wide, len(level) - wide + 1)
    change = np.abs(windows[middle + 1] - windows[middle - wide])
    wander = _quartile(change) / QUARTILE * (1.0 + FEW_WINDOWS * wide / len(level))
    threshold = max(STEP_DB, 6.0 * max(noise, own) * np.sqrt(2.0 / wide), BEYOND_WANDER * wander)
    open_ = change > threshold
    while open_.any():
        worst = int(np.argmax(np.where(open_, change, 0.0)))
        # Medians change when half a window is past the step; the step itself is where adjacent frames differ most.
        beside = np.abs(middle - middle[worst]) <= wide
        near = middle[(change > 0.7 * change[worst]) & beside]
        at = int(near[np.argmax(np.abs(level[near] - level[near - 1]))])
        if _parts(level, at, float(change[worst]), round(LASTS_S / frames.seconds)):
            cut = first + at
            return _plateaus(frames, first, cut) + _plateaus(frames, cut, last)
        open_ &= ~beside
    return [(first, last)]


def _parts(level: Floats, at: int, change: float, lasts: int) -> bool:
    """Whether a change in level at a frame is sudden or large, and lasting."""
    jump = abs(median(level[at + 1 : at + 4]) - median(level[at - 4 : at - 1]))
    if change < RAMP_DB and jump < 0.6 * change:
        return False
    return abs(median(level[at : at + lasts]) - median(level[max(0, at - lasts) : at])) > 0.5 * change


def _quartile(x: Floats) -> float:
    """The lower quartile."""
    return float(np.partition(x, len(x) // 4)[len(x) // 4])


def _moves(frames: Frames, apart: int) -> float:
    """Robust standard deviation of the change in level over this many frames, dB.

    Neither dropouts nor the steady loss of a decaying note count as wander.
    """
    if len(frames.level_db) <= apart:
        return 0.0
    differs = frames.level_db[apart:] - frames.level_db[:-apart]
    return _quartile(np.abs(differs - median(differs))) / QUARTILE


def _trim(frames: Frames, first: int, last: int) -> tuple[int, int]:
    """Trim both ends where the level is rising, falling or different from its surroundings."""
    here = frames.between(first, last)
    start, stop = first + _lead_in(here), last - _lead_in(here.reversed())
    return (start, stop) if start < stop else (first, first)


def _lead_in(frames: Frames) -> int:
    """Number of frames at the start that belong to an attack or a fade."""
    level, spread = frames.level_db, _spread_db(frames)
    near = max(3, round(0.1 / frames.seconds))
    if len(level) < 4 * near:
        middle = median(level)
        off = np.abs(level - middle) > np.maximum(0.15, 3.0 * spread)
        return int(np.argmin(off)) if off.any() else 0
    apart = min(len(level) // 2, round(FADE_S / frames.seconds))
    # A fade is larger than the wander of this tape.
    low = max(FADE_DB, BEYOND_WANDER * _moves(frames, apart))
    fades = abs(median(level[apart : apart + 3 * near]) - median(level[:3])) > low
    restless = 3.0 * _moves(frames, near)
    for at in range(len(level) - 3 * near):
        here, further = level[at : at + near], median(level[at + near : at + 3 * near])
        rises = abs(further - median(here)) > max(0.1, restless, 3.0 * spread[at] / np.sqrt(near))
        off = abs(level[at] - further) > max(0.15, restless, 3.0 * spread[at])
        sudden = abs(level[at] - median(here)) > max(0.15, restless, 3.0 * spread[at])
        if not ((fades and (rises or off)) or (at < 3 and sudden)):
            return at
    return len(level)
