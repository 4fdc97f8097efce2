"""Where a tone is steady: the stretches of a baseband in which level and frequency hold.

A tone is known by its frequency: it stays within about 1 % for at least 0.4 s, or swings to and fro within 2.5 % for
longer as wow makes it, which a voice does not. Its level may
wander and have holes, as a tape's does; but a step to another level that lasts parts two takes, and attacks and fades
are left out. How large a step must be follows from how much this tone's own level moves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bench.measure.tone.baseband import Floats, median
from bench.measure.tone.demodulator import Baseband

SHORTEST_S = 0.4
"""A shorter steady stretch is not a tone: sung vowels seldom hold a pitch that long (common practice, no source)."""
FREQUENCY_REACH = 0.01
"""How far the frequency may be from its own middle: flutter of 0.3 % peak, and room."""
WOW_REACH, WOW_S, WOW_RETURNS = 0.025, 1.2, 2
"""How far wow of 2 % peak takes it, for how long it must then hold, and how often swing back: a glide does not."""
SWINGS = 0.4
"""What counts as a swing to one side, in parts of how far the frequency may be from its middle otherwise."""
WOW_KNOWN_S, NEWEST = 5.0, 6
"""Slow wow is recognised within so long; what reaches this near to the newest frame still sounds."""
NEAR_PART, NEAR_HZ = 0.05, 3.5
"""How far the tone may be from where its peak was first seen, at one end of its wow; hum beside a low tone shifts it
too."""
LOW_HZ = 600.0
TONAL = 12.0
"""The least power of a frame over that of its noise, for a tone; noise alone seldom reaches it (our own choice)."""
BAND = 1.45
"""The whole band of the baseband over the noise bandwidth of its filter."""
CLEAR_HZ, HIGH_HZ = 1200.0, 2500.0
"""Above the first, a baseband holds no image, harmonic or direct current; above the second, flutter moves a tone
further."""
FAR_TURNS, COHERENT = 0.32, 0.8
"""From one block to the next less than half a turn can be told; a tone that turns by more than the first is turned back
before, where its points turn alike (the mean turn over the mean size of the turns)."""
CLICK_S = 0.06
"""A click up to this long does not end a tone."""
HOLE_S, HOLE_DB, ALIKE_DB = 0.28, 30.0, 3.0
"""Nor does a dropout: at most 200 ms and its sloping sides, hardly over 25 dB (common practice, no source), and the
level after it is what it was before to within the third. What falls further is a gap between two takes."""
FADE_DB, FADE_S = 1.2, 0.5
"""An attack or fade starts this far below the level that it reaches after this time; our own choice."""
STEP_DB, RAMP_DB, STEP_S = 0.6, 2.0, 0.25
"""Two plateaus are two takes when they differ by more than the first and the change is sudden, or by more than the
second within a quarter of a second."""
LASTS_S = 0.6
"""A step lasts at least this long, a dropout does not; our own choice."""
BEYOND_WANDER = 5.0
"""The least step, in standard deviations of the changes over the same time elsewhere in the tone: chance exceeds it
less than once in a million."""
QUARTILE = 0.3186
"""A quarter of normal deviates are smaller than this, in standard deviations."""


@dataclass(slots=True)
class Frames:
    """A baseband in steps of about 16 ms."""

    points: int
    """Baseband points in a frame."""
    seconds: float
    level_db: Floats
    """Power of all channels together."""
    frequency_hz: Floats
    """Off the oscillator."""
    snr: Floats
    """Power of the tone over that of the noise, in a frame."""

    def __len__(self) -> int:
        return len(self.level_db)

    def tail(self, start: int) -> Frames:
        """Those from frame `start` on."""
        return self.between(start, len(self))

    def between(self, start: int, stop: int) -> Frames:
        """Those from frame `start` to before `stop`."""
        return Frames(
            self.points,
            self.seconds,
            self.level_db[start:stop],
            self.frequency_hz[start:stop],
            self.snr[start:stop],
        )

    def reversed(self) -> Frames:
        """Last first."""
        return Frames(self.points, self.seconds, self.level_db[::-1], self.frequency_hz[::-1], self.snr[::-1])

    def silent(self, count: int) -> Frames:
        """So many frames without a tone."""
        return Frames(self.points, self.seconds, np.full(count, -300.0), np.zeros(count), np.zeros(count))

    def joined(self, more: Frames) -> Frames:
        """These and those after them."""
        return Frames(
            self.points,
            self.seconds,
            np.concatenate([self.level_db, more.level_db]),
            np.concatenate([self.frequency_hz, more.frequency_hz]),
            np.concatenate([self.snr, more.snr]),
        )


def frame_points(tone_hz: float, rate: float) -> tuple[int, int]:
    """Points of a sub-block and sub-blocks of a frame.

    A sub-block is a whole number of periods of the tone and at least 8 ms: so its mean is blind to direct current,
    to the tone's image at twice its frequency and to its harmonics, all of which fold near low tones. Of high tones,
    which flutter moves further, it is 4 ms.
    """
    if tone_hz >= HIGH_HZ:
        return max(4, round(0.004 * rate)), 4
    periods = max(1, int(np.ceil(0.008 * tone_hz)))
    block = max(4, round(periods / tone_hz * rate))
    return block, 2 if block / rate < 0.012 else 1


def make_frames(z: Baseband, rate: float, tone_hz: float, oscillator_hz: float) -> Frames:
    """Reduce a baseband to frames; points left over at its end are not used.

    Args:
        z: shape (points, channels).
        rate: points a second.
        tone_hz: about where the tone lies.
        oscillator_hz: the frequency that became zero.
    """
    block, blocks = frame_points(tone_hz, rate)
    count = len(z) // (block * blocks)
    offset = tone_hz - oscillator_hz
    t = np.arange(count * block * blocks) / rate
    back = np.exp(-2j * np.pi * offset * t)[:, None]
    turned = z[: len(t)] * back
    if tone_hz < LOW_HZ:
        direct = _direct_current(z, rate, oscillator_hz)[: len(t)] * back
        turned -= direct
    far_hz = FAR_TURNS * rate / block
    away = _far_away(turned, rate, block * blocks, far_hz) if tone_hz >= CLEAR_HZ else np.zeros(count)
    if away.any():
        turned *= np.exp(-2j * np.pi / rate * np.cumsum(np.repeat(away, block * blocks)))[:, None]
    parts = turned.reshape(count * blocks, block, z.shape[1])
    mean = parts.mean(axis=1)
    power = np.sum(np.abs(mean) ** 2, axis=1)
    noise = np.maximum(np.sum(np.abs(parts) ** 2, axis=(1, 2)) / block - power, 0.0) * BAND / block
    if tone_hz < LOW_HZ and len(mean) > 2:
        # Direct current and the image are no noise: what one block differs from its neighbours' mean is.
        rough = np.sum(np.abs(mean[1:-1] - 0.5 * (mean[:-2] + mean[2:])) ** 2, axis=1) * (2.0 / 3.0)
        rough = np.concatenate([rough[:1], rough, rough[-1:]])
        noise = np.convolve(np.pad(rough, 2, mode="edge"), np.full(5, 0.2), mode="valid")
    step = np.sum(mean[1:] * np.conj(mean[:-1]), axis=1)
    step = np.concatenate([step, step[-1:]]) if len(step) else np.ones(len(mean), dtype=np.complex128)
    turn = np.angle(step.reshape(count, blocks)[:, : max(1, blocks - 1)].sum(axis=1))
    sure = power
    if tone_hz < LOW_HZ:
        # Where there was nothing, what was taken off for direct current is all there is: no tone.
        sure = np.minimum(power, np.sum(np.abs(mean + direct.reshape(parts.shape).mean(axis=1)) ** 2, axis=1))
    # A mean over a block is lower by sinc(turn / 2π) when the tone turns within it.
    seen = np.sinc(turn / (2 * np.pi)) ** 2
    power, sure = (p.reshape(count, blocks).mean(axis=1) for p in (power, sure))
    noise = np.maximum(noise.reshape(count, blocks).mean(axis=1) - power * (1.0 / seen - 1.0) / block, 0.0)
    return Frames(
        points=block * blocks,
        seconds=block * blocks / rate,
        level_db=10.0 * np.log10(power / seen + 1e-30),
        frequency_hz=offset + away + turn * rate / (2 * np.pi * block),
        snr=np.maximum(sure - noise, 0.0) / (noise / blocks + 1e-4 * power + 1e-30),
    )


def _far_away(z: Baseband, rate: float, frame: int, far_hz: float) -> Floats:
    """How far each frame is from zero frequency, where wow takes it further than a block can tell; 0 elsewhere."""
    steps = np.sum(z[1:] * np.conj(z[:-1]), axis=1)
    steps = np.concatenate([steps, steps[-1:]]).reshape(-1, frame)
    sums, sizes = steps.sum(axis=1), np.abs(steps).sum(axis=1)
    away = np.angle(sums) * rate / (2 * np.pi)
    return np.asarray(np.where((np.abs(sums) > COHERENT * sizes) & (np.abs(away) > far_hz), away, 0.0))


def _direct_current(z: Baseband, rate: float, oscillator_hz: float) -> Baseband:
    """The line at -oscillator_hz: blocks are blind to it only as far as they hold whole periods."""
    line = np.exp(-2j * np.pi * oscillator_hz / rate * np.arange(len(z)))
    window = np.hanning(len(z) + 2)[1:-1]
    return np.asarray(np.outer(line, (window * np.conj(line)) @ z / window.sum()))


class Run(NamedTuple):
    """A stretch in which a tone holds, in frames."""

    first: int
    last: int
    """The frame after the last."""
    end: int
    """The frame after the last before the end was trimmed: near the newest frame while the tone goes on."""
    undecided: bool
    """Whether it may yet turn out to be a part of a tone with slow wow, which still sounds."""


def steady_runs(frames: Frames, tone_hz: float, offset_hz: float) -> list[Run]:
    """The stretches in which a tone holds, edges left out.

    Args:
        frames: what `make_frames` gave.
        tone_hz: about where the tone lies.
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
    """What noise alone does to the level of each frame, dB (standard deviation)."""
    return np.asarray(8.686 / np.sqrt(2.0 * np.maximum(frames.snr, 1.0)))


def _tonal_runs(frames: Frames, tone_hz: float, offset_hz: float) -> list[tuple[int, int, bool]]:
    """Runs of one frequency, and whether each is undecided; short breaks are bridged."""
    reach = FREQUENCY_REACH * tone_hz + 0.3
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
    """The parts of a run that keep to their own middle frequency; none when it glides."""
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
    """The stretch in which a frequency swings to both sides of its middle as wow makes it, further than otherwise.

    Args:
        hz: of each frame.
        reach: how far it is from its middle otherwise.
        seconds: length of a frame.

    Returns:
        First frame and the one after the last; alike where there is no wow.
    """
    away = hz - median(hz)
    start, stop = _longest(np.abs(away) < reach * WOW_REACH / FREQUENCY_REACH)
    swings = np.sign(away[start:stop][np.abs(away[start:stop]) > SWINGS * reach])
    returns = np.count_nonzero(np.diff(swings)) >= WOW_RETURNS
    return (start, stop) if returns and (stop - start) * seconds >= WOW_S else (0, 0)


def _stretches(true: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Where a condition holds: first index and the index after the last."""
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
    """The median of every window of an odd width; much quicker than numpy's own, which also looks for NaN."""
    half = width // 2
    return np.asarray(np.partition(np.lib.stride_tricks.sliding_window_view(x, width), half, axis=1)[:, half])


def _plateaus(frames: Frames, first: int, last: int) -> list[tuple[int, int]]:
    """Cut a run where its level steps, or goes from one plateau to another."""
    wide = max(4, round(STEP_S / frames.seconds) // 2 * 2)
    if last - first < 2 * wide:
        return [(first, last)]
    level = _running_median(frames.level_db[first:last], 3)
    noise = median(_spread_db(frames)[first:last])
    own = 1.4826 * median(np.abs(np.diff(level))) / np.sqrt(2.0)
    windows = _medians(level, wide - 1)
    middle = np.arange(wide, len(level) - wide + 1)
    change = np.abs(windows[middle + 1] - windows[middle - wide])
    wander = _quartile(change) / QUARTILE
    threshold = max(STEP_DB, 6.0 * max(noise, own) * np.sqrt(2.0 / wide), BEYOND_WANDER * wander)
    open_ = change > threshold
    while open_.any():
        worst = int(np.argmax(np.where(open_, change, 0.0)))
        # Medians change as soon as half a window is over the step: the step itself is where frames differ most.
        beside = np.abs(middle - middle[worst]) <= wide
        near = middle[(change > 0.7 * change[worst]) & beside]
        at = int(near[np.argmax(np.abs(level[near] - level[near - 1]))])
        if _parts(level, at, float(change[worst]), round(LASTS_S / frames.seconds)):
            cut = first + at
            return _plateaus(frames, first, cut) + _plateaus(frames, cut, last)
        open_ &= ~beside
    return [(first, last)]


def _parts(level: Floats, at: int, change: float, lasts: int) -> bool:
    """Whether a change of level at a frame is sudden or large, and lasts."""
    jump = abs(median(level[at + 1 : at + 4]) - median(level[at - 4 : at - 1]))
    if change < RAMP_DB and jump < 0.6 * change:
        return False
    return abs(median(level[at : at + lasts]) - median(level[max(0, at - lasts) : at])) > 0.5 * change


def _quartile(x: Floats) -> float:
    """The value that a quarter of the others do not reach."""
    return float(np.partition(x, len(x) // 4)[len(x) // 4])


def _moves(frames: Frames, apart: int) -> float:
    """How much the level usually differs this many frames later, dB (standard deviation).

    Holes do not count, nor does what a note that dies away loses all along: that is no wander.
    """
    if len(frames.level_db) <= apart:
        return 0.0
    differs = frames.level_db[apart:] - frames.level_db[:-apart]
    return _quartile(np.abs(differs - median(differs))) / QUARTILE


def _trim(frames: Frames, first: int, last: int) -> tuple[int, int]:
    """Leave out what is still rising or already falling, and what is off its neighbourhood, at both ends."""
    here = frames.between(first, last)
    start, stop = first + _lead_in(here), last - _lead_in(here.reversed())
    return (start, stop) if start < stop else (first, first)


def _lead_in(frames: Frames) -> int:
    """How many frames at the start are an attack or a fade."""
    level, spread = frames.level_db, _spread_db(frames)
    near = max(3, round(0.1 / frames.seconds))
    if len(level) < 4 * near:
        middle = median(level)
        off = np.abs(level - middle) > np.maximum(0.15, 3.0 * spread)
        return int(np.argmin(off)) if off.any() else 0
    apart = min(len(level) // 2, round(FADE_S / frames.seconds))
    # A fade comes from further away than this tape's own wander.
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
