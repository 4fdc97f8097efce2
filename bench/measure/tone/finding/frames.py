"""A baseband reduced to frames: the level, frequency and signal-to-noise ratio of a tone over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.measure.tone.demodulator import Baseband

LOW_HZ = 600.0
BAND = 1.45
"""Ratio of the baseband rate to the noise bandwidth of its filter."""
CLEAR_HZ, HIGH_HZ = 1200.0, 2500.0
"""Above the first, a baseband contains no image, harmonic or DC; above the second, flutter moves a tone further."""
FAR_TURNS, COHERENT = 0.32, 0.8
"""Phase steps between blocks are unambiguous up to half a cycle. A tone with larger steps than the first, in cycles,
is shifted first if its coherence (magnitude of the mean step over the mean magnitude) exceeds the second."""


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
