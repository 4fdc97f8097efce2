"""The stages that correct a transfer, fed with blocks of any size.

Each stage works in segments of its own length, counted from the start of the sound, and returns what is ready, so the
result does not depend on the size of the blocks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Protocol

import numpy as np
from scipy.fft import irfft, rfft

from bench.arrays import Floats
from bench.tape.minimum_phase import minimum_phase
from bench.tape.noise_reduction import NoiseReduction, System
from bench.transfer import kernels

ResponseDb = Callable[[Floats], Floats]
"""dB at frequencies in Hz."""

HIGHEST_HZ = 20000.0
"""A tape has nothing worth keeping above this. A low-pass filter removes bias and interface noise, which a decoder
would mistake for treble. Common practice, no source."""
STOPPED_HZ = 24000.0
"""Start of the filter's stop band; a lower sample rate needs no filter."""
STOPPED_DB = 90.0
LONGEST_RING_S = 0.15
"""Length of a response filter: a few periods of the lowest tone at which responses are measured."""


class Stage(Protocol):
    """One step of processing."""

    def run(self, samples: Floats) -> Floats:
        """Process the next block, shape (frames, channels), and return the frames that are ready, if any."""

    def finish(self) -> Floats:
        """Return the remaining frames at the end of the sound."""


def through(stages: Sequence[Stage], blocks: Iterable[Floats]) -> Iterator[Floats]:
    """Send blocks through all stages."""
    for block in blocks:
        for stage in stages:
            block = stage.run(block)  # noqa: PLW2901 - one sound, changed from stage to stage
        if len(block):
            yield block
    for n, stage in enumerate(stages):
        rest = stage.finish()
        for later in stages[n + 1 :]:
            rest = later.run(rest)
        if len(rest):
            yield rest


class Circuit:
    """A noise-reduction encoder or decoder with the reference level of the capture.

    Args:
        system: `type-b` or `type-a`.
        rate: sample rate, Hz, at least 32000.
        decode: whether to decode or encode.
        before: gain of each channel ahead of the circuit, which brings a sine of the reference level to 1.
        after: gain of each channel after the circuit.
    """

    def __init__(
        self, system: System, rate: float, *, decode: bool, before: Sequence[float], after: Sequence[float]
    ) -> None:
        gains = np.stack((before, after), axis=1)
        self._circuit = NoiseReduction(system, rate, len(before), decode=decode, gains=gains)
        self._nothing = np.zeros((0, len(before)))

    def run(self, samples: Floats) -> Floats:
        """Process the next block without delay."""
        return self._circuit.run(samples)

    def finish(self) -> Floats:
        """Return no frames: none are held back."""
        return self._nothing


class Response:
    """Filters each channel with a response, and optionally removes everything above the treble of a tape.

    In single precision, whose errors are 135 dB below the sound: less than the dither of 24 bits.

    Args:
        rate: sample rate, Hz.
        responses_db: the response of each channel.
        low_pass: whether to remove everything above `HIGHEST_HZ`.
    """

    def __init__(self, rate: float, responses_db: Sequence[ResponseDb], *, low_pass: bool) -> None:
        taps = 2 ** int(np.ceil(np.log2(LONGEST_RING_S * rate)))
        self._size = 4 * taps
        hz = np.linspace(0.0, rate / 2, 4 * taps + 1)
        spectra = [np.fft.rfft(minimum_phase(response(hz), taps), self._size) for response in responses_db]
        stop = _low_pass(rate) if low_pass else np.ones(1)
        self._late = stop.size // 2
        self._spectrum = (np.stack(spectra) * np.fft.rfft(stop, self._size)).astype(np.complex64)
        self._past = taps + stop.size
        self._segment = np.zeros((len(spectra), self._size), dtype=np.float32)
        self._filled = self._past
        self._frames_in, self._frames_out = 0, -self._late

    def run(self, samples: Floats) -> Floats:
        """Filter the next block."""
        self._frames_in += len(samples)
        return self._filtered(samples)

    def finish(self) -> Floats:
        """Return the rest, so that the output is as long as the input."""
        left = self._frames_in - self._frames_out
        rest = self._filtered(np.zeros((left + self._size, len(self._segment))))
        return rest[: min(left, self._frames_in)]

    def _filtered(self, samples: Floats) -> Floats:
        made = [np.zeros((len(self._segment), 0), dtype=np.float32)]
        while len(samples):
            taken, samples = np.split(samples, [self._size - self._filled])
            self._segment[:, self._filled : self._filled + len(taken)] = taken.T
            self._filled += len(taken)
            if self._filled == self._size:
                piece = irfft(rfft(self._segment) * self._spectrum)[:, self._past :]
                made.append(piece[:, max(0, -self._frames_out) :])
                self._frames_out += piece.shape[1]
                self._segment[:, : self._past] = self._segment[:, -self._past :]
                self._filled = self._past
        return np.concatenate(made, axis=1, dtype=np.float64).T


def needs_low_pass(rate: float) -> bool:
    """Whether a sample rate is high enough to contain anything above the treble of a tape."""
    return rate / 2 > STOPPED_HZ


def _low_pass(rate: float) -> Floats:
    """A linear-phase low-pass with an odd number of taps, designed with a Kaiser window (his formulas, from memory)."""
    half = int(np.ceil((STOPPED_DB - 8) / (2.285 * 2 * np.pi * (STOPPED_HZ - HIGHEST_HZ) / rate) / 2))
    n = np.arange(-half, half + 1)
    cut = (HIGHEST_HZ + STOPPED_HZ) / rate
    taps = cut * np.sinc(cut * n) * np.kaiser(n.size, 0.1102 * (STOPPED_DB - 8.7))
    return np.asarray(taps / taps.sum())


class Resampler:
    """Corrects the delay of each channel and the speed of the whole.

    Args:
        rate: sample rate, Hz.
        step: input frames for each output frame; below 1 the sound becomes longer and lower in pitch.
        channel_delays_s: delay of each channel that is taken off, s, shape (channels, stretches): in the middle of each
            stretch of the input, and linear between the middles.
        stretch_s: length of a stretch.
    """

    def __init__(self, rate: float, step: float, channel_delays_s: Floats, stretch_s: float = 1.0) -> None:
        self._step, self._every = step, stretch_s * rate
        self._late = np.concatenate((channel_delays_s, channel_delays_s[:, -1:]), axis=1) * rate
        self._half, beta = _interpolation(rate)
        self._table = kernels.sinc_table(self._half, beta)
        self._first = -self._half - int(np.ceil(max(0.0, -self._late.min())))
        self._sound = np.zeros((len(channel_delays_s), -self._first))
        self._frames_in, self._frames_out = 0, 0

    def run(self, samples: Floats) -> Floats:
        """Resample the next block."""
        self._frames_in += len(samples)
        return self._resampled(samples, None)

    def finish(self) -> Floats:
        """Return the rest."""
        after = 2 * self._half + int(np.ceil(max(0.0, self._late.max()) + self._step))
        return self._resampled(np.zeros((after, len(self._late))), round(self._frames_in / self._step))

    def _resampled(self, samples: Floats, total: int | None) -> Floats:
        self._sound = np.concatenate((self._sound, samples.T), axis=1)
        end = self._first + self._sound.shape[1] - self._half - 1
        ready = int(np.floor((end - max(0.0, self._late.max())) / self._step)) if total is None else total
        out = np.empty((len(self._late), max(0, ready - self._frames_out)))
        kernels.interpolate(
            self._sound, self._first, self._frames_out, self._step, self._late, self._every, self._table, out
        )
        self._frames_out += out.shape[1]
        needed = int(np.floor(self._frames_out * self._step + self._late.min())) - self._half
        drop = max(0, needed - self._first)
        self._sound = np.ascontiguousarray(self._sound[:, drop:])
        self._first += drop
        return out.T


def _interpolation(rate: float) -> tuple[int, float]:
    """Samples that are used on either side, and β of their Kaiser window.

    The images of the sound lie above half the sample rate. The short window attenuates those of all that `_low_pass`
    leaves by 110 dB, the long one those of the sound up to 20 kHz at 44.1 kHz by 90 dB.
    """
    return (8, 11.2) if rate >= 88200 else (32, 9.0)
