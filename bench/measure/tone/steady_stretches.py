"""The stretches of a baseband in which a tone has a steady level and frequency.

A tone is recognised by its frequency: it stays within about 1 % for at least 0.4 s, or it swings to and fro within
2.5 % for longer, as wow makes it do and a voice does not. Its level may wander and have dropouts; but a lasting step
in level separates two takes, and attacks and fades are excluded. The least step follows from the tone's own wander.
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
LOW_HZ = 600.0
TONAL = 12.0
"""Least signal-to-noise ratio of a frame with a tone; noise alone seldom attains it (our own choice)."""
BAND = 1.45
"""Ratio of the baseband rate to the noise bandwidth of its filter."""
CLEAR_HZ, HIGH_HZ = 1200.0, 2500.0
"""Above the first, a baseband contains no image, harmonic or DC; above the second, flutter moves a tone further."""
FAR_TURNS, COHERENT = 0.32, 0.8
"""Phase steps between blocks are unambiguous up to half a cycle. A tone with larger steps than the first, in cycles,
is shifted first if its coherence (magnitude of the mean step over the mean magnitude) exceeds the second."""
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


@dataclass(slots=True)
class Frames:
    """A baseband reduced to frames of about 16 ms."""

    points: int
    """Baseband points per frame."""
    seconds: float
    level_db: Floats
    """Total power of all channels."""
    frequency_hz: Floats
    """Relative to the oscillator."""
    snr: Floats
    """Signal-to-noise power ratio in a frame."""

    def __len__(self) -> int:
        return len(self.level_db)

    def tail(self, start: int) -> Frames:
        """The frames from `start` on."""
        return self.between(start, len(self))

    def between(self, start: int, stop: int) -> Frames:
        """The frames from `start` up to but not including `stop`."""
        return Frames(
            self.points,
            self.seconds,
            self.level_db[start:stop],
            self.frequency_hz[start:stop],
            self.snr[start:stop],
        )

    def reversed(self) -> Frames:
        """The frames in reverse order."""
        return Frames(self.points, self.seconds, self.level_db[::-1], self.frequency_hz[::-1], self.snr[::-1])

    def silent(self, count: int) -> Frames:
        """Frames without a tone."""
        return Frames(self.points, self.seconds, np.full(count, -300.0), np.zeros(count), np.zeros(count))

    def joined(self, more: Frames) -> Frames:
        """These frames followed by `more`."""
        return Frames(
            self.points,
            self.seconds,
            np.concatenate([self.level_db, more.level_db]),
            np.concatenate([self.frequency_hz, more.frequency_hz]),
            np.concatenate([self.snr, more.snr]),
        )


def frame_points(tone_hz: float, rate: float) -> tuple[int, int]:
    """Points per sub-block, and sub-blocks per frame.

    A sub-block is a whole number of periods of the tone and at least 8 ms, so that its mean rejects DC, the tone's
    image at twice its frequency and its harmonics, all of which fold near low tones. For high tones, which flutter
    moves further, it is 4 ms.
    """
    if tone_hz >= HIGH_HZ:
        return max(4, round(0.004 * rate)), 4
    periods = max(1, int(np.ceil(0.008 * tone_hz)))
    block = max(4, round(periods / tone_hz * rate))
    return block, 2 if block / rate < 0.012 else 1


def make_frames(z: Baseband, rate: float, tone_hz: float, oscillator_hz: float) -> Frames:
    """Reduce a baseband to frames; an incomplete frame at its end is not used.

    Args:
        z: shape (points, channels).
        rate: points per second.
        tone_hz: approximate frequency of the tone.
        oscillator_hz: the frequency that was shifted to zero.
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
    away = _frame_offsets(turned, rate, block * blocks, far_hz) if tone_hz >= CLEAR_HZ else np.zeros(count)
    if away.any():
        turned *= np.exp(-2j * np.pi / rate * np.cumsum(np.repeat(away, block * blocks)))[:, None]
    parts = turned.reshape(count * blocks, block, z.shape[1])
    mean = parts.mean(axis=1)
    power = np.sum(np.abs(mean) ** 2, axis=1)
    noise = np.maximum(np.sum(np.abs(parts) ** 2, axis=(1, 2)) / block - power, 0.0) * BAND / block
    if tone_hz < LOW_HZ and len(mean) > 2:
        # DC and the image are not noise, so noise is estimated from each block minus the mean of its neighbours.
        rough = np.sum(np.abs(mean[1:-1] - 0.5 * (mean[:-2] + mean[2:])) ** 2, axis=1) * (2.0 / 3.0)
        rough = np.concatenate([rough[:1], rough, rough[-1:]])
        noise = np.convolve(np.pad(rough, 2, mode="edge"), np.full(5, 0.2), mode="valid")
    step = np.sum(mean[1:] * np.conj(mean[:-1]), axis=1)
    step = np.concatenate([step, step[-1:]]) if len(step) else np.ones(len(mean), dtype=np.complex128)
    turn = np.angle(step.reshape(count, blocks)[:, : max(1, blocks - 1)].sum(axis=1))
    sure = power
    if tone_hz < LOW_HZ:
        # In silence the subtracted DC estimate is all that remains; it must not count as a tone.
        sure = np.minimum(power, np.sum(np.abs(mean + direct.reshape(parts.shape).mean(axis=1)) ** 2, axis=1))
    # A block mean attenuates a tone whose phase turns within the block by sinc(turn / 2π).
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


def _frame_offsets(z: Baseband, rate: float, frame: int, far_hz: float) -> Floats:
    """Offset of each frame from zero frequency, if wow takes it too far for unambiguous phase steps; otherwise 0."""
    steps = np.sum(z[1:] * np.conj(z[:-1]), axis=1)
    steps = np.concatenate([steps, steps[-1:]]).reshape(-1, frame)
    sums, sizes = steps.sum(axis=1), np.abs(steps).sum(axis=1)
    away = np.angle(sums) * rate / (2 * np.pi)
    return np.asarray(np.where((np.abs(sums) > COHERENT * sizes) & (np.abs(away) > far_hz), away, 0.0))


def _direct_current(z: Baseband, rate: float, oscillator_hz: float) -> Baseband:
    """The line at -oscillator_hz, which blocks reject only if they contain whole periods."""
    line = np.exp(-2j * np.pi * oscillator_hz / rate * np.arange(len(z)))
    window = np.hanning(len(z) + 2)[1:-1]
    return np.asarray(np.outer(line, (window * np.conj(line)) @ z / window.sum()))


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
