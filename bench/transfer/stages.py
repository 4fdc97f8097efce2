"""What a transfer goes through, one stage after another, over blocks of any size: the same samples whatever the blocks.

Each stage works in pieces of its own length, counted from the start of the sound, and gives what is ready.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from bench.tape.minimum_phase import minimum_phase
from bench.tape.noise_reduction import NoiseReduction, System
from bench.transfer import kernels
from bench.transfer.kernels import HALF

Floats = NDArray[np.float64]
ResponseDb = Callable[[Floats], Floats]
"""dB at frequencies in Hz."""

HIGHEST_HZ = 20000.0
"""A tape holds nothing worth keeping above it. What an interface adds there, bias and its own noise, a decoder would
take for treble, so a filter keeps it out. Common practice, no source."""
STOPPED_HZ = 24000.0
"""From here on that filter lets nothing through; a capture whose sample rate leaves no room for it needs none."""
STOPPED_DB = 90.0
LONGEST_RING_S = 0.15
"""A filter for a response is so long: a few periods of the lowest tone that responses are measured at."""


class Stage(Protocol):
    """One thing that is done to sound."""

    def run(self, samples: Floats) -> Floats:
        """The next block, shape (frames, channels); gives what is ready, which may be nothing."""

    def finish(self) -> Floats:
        """The sound is over: the rest."""


def through(stages: Sequence[Stage], blocks: Iterable[Floats]) -> Iterator[Floats]:
    """Blocks through all stages."""
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
    """A noise-reduction encoder or decoder, its reference level where the capture has it.

    Args:
        system: `type-b` or `type-a`.
        rate: sample rate, Hz, at least 32000.
        decode: whether it decodes.
        before: factor of each channel that brings what comes to 1 for a sine of the reference level.
        after: factor of each channel behind the circuit.
    """

    def __init__(
        self, system: System, rate: float, *, decode: bool, before: Sequence[float], after: Sequence[float]
    ) -> None:
        self._circuit = NoiseReduction(system, rate, len(before), decode=decode)
        self._before, self._after = np.array(before), np.array(after)

    def run(self, samples: Floats) -> Floats:
        """The next block, at once."""
        return np.asarray(self._circuit.run(samples * self._before) * self._after)

    def finish(self) -> Floats:
        """Nothing is left."""
        return np.zeros((0, len(self._before)))


class Response:
    """A response put on or taken off, and what lies above the treble of a tape kept out.

    Args:
        rate: sample rate, Hz.
        responses_db: of each channel.
        limit: whether what lies above `HIGHEST_HZ` is kept out.
    """

    def __init__(self, rate: float, responses_db: Sequence[ResponseDb], *, limit: bool) -> None:
        taps = 2 ** int(np.ceil(np.log2(LONGEST_RING_S * rate)))
        self._size = 4 * taps
        hz = np.linspace(0.0, rate / 2, 4 * taps + 1)
        spectra = [np.fft.rfft(minimum_phase(response(hz), taps), self._size) for response in responses_db]
        stop = _low_pass(rate) if limit else np.ones(1)
        self._late = stop.size // 2
        self._spectrum = np.stack(spectra) * np.fft.rfft(stop, self._size)
        self._hop = self._size - taps - stop.size
        self._past = np.zeros((len(spectra), self._size - self._hop))
        self._waiting = np.zeros((len(spectra), 0))
        self._came, self._gone = 0, -self._late

    def run(self, samples: Floats) -> Floats:
        """The next block."""
        self._came += len(samples)
        return self._filtered(samples)

    def finish(self) -> Floats:
        """The rest: as much comes out as went in."""
        left = self._came - self._gone
        rest = self._filtered(np.zeros((left + self._hop, len(self._past))))
        return rest[: min(left, self._came)]

    def _filtered(self, samples: Floats) -> Floats:
        waiting = np.concatenate((self._waiting, samples.T), axis=1)
        made = []
        at = 0
        while at + self._hop <= waiting.shape[1]:
            whole = np.concatenate((self._past, waiting[:, at : at + self._hop]), axis=1)
            self._past = whole[:, self._hop :]
            piece = np.fft.irfft(np.fft.rfft(whole) * self._spectrum)[:, -self._hop :]
            made.append(piece[:, max(0, -self._gone) :])
            self._gone += self._hop
            at += self._hop
        self._waiting = waiting[:, at:]
        return np.concatenate(made, axis=1).T if made else np.zeros((0, len(self._past)))


def needs_limit(rate: float) -> bool:
    """Whether a sample rate holds what lies above the treble of a tape."""
    return rate / 2 > STOPPED_HZ


def _low_pass(rate: float) -> Floats:
    """A linear-phase low-pass by the Kaiser window (Kaiser's formulas, from memory), an odd number of taps."""
    half = int(np.ceil((STOPPED_DB - 8) / (2.285 * 2 * np.pi * (STOPPED_HZ - HIGHEST_HZ) / rate) / 2))
    n = np.arange(-half, half + 1)
    cut = (HIGHEST_HZ + STOPPED_HZ) / rate
    taps = cut * np.sinc(cut * n) * np.kaiser(n.size, 0.1102 * (STOPPED_DB - 8.7))
    return np.asarray(taps / taps.sum())


class Moved:
    """Sound moved in time: every channel by a delay of its own, and all of it slower or faster.

    Args:
        rate: sample rate, Hz.
        step: frames that are taken for each one that is given: below 1 the sound becomes longer and lower.
        late_s: how much later each channel comes than it should, shape (channels, stretches): in the middle of each
            stretch of what is taken, and between the middles in a straight line.
        stretch_s: length of a stretch.
    """

    def __init__(self, rate: float, step: float, late_s: Floats, stretch_s: float = 1.0) -> None:
        self._step, self._every = step, stretch_s * rate
        self._late = np.concatenate((late_s, late_s[:, -1:]), axis=1) * rate
        self._table = kernels.weights()
        self._first = -HALF - int(np.ceil(max(0.0, -self._late.min())))
        self._sound = np.zeros((len(late_s), -self._first))
        self._came, self._gone = 0, 0

    def run(self, samples: Floats) -> Floats:
        """The next block."""
        self._came += len(samples)
        return self._given(samples, None)

    def finish(self) -> Floats:
        """The rest."""
        after = 2 * HALF + int(np.ceil(max(0.0, self._late.max()) + self._step))
        return self._given(np.zeros((after, len(self._late))), round(self._came / self._step))

    def _given(self, samples: Floats, total: int | None) -> Floats:
        self._sound = np.concatenate((self._sound, samples.T), axis=1)
        end = self._first + self._sound.shape[1]
        ready = int(np.floor((end - HALF - 1 - max(0.0, self._late.max())) / self._step)) if total is None else total
        out = np.empty((max(0, ready - self._gone), len(self._late)))
        kernels.between(self._sound, self._first, self._gone, self._step, self._late, self._every, self._table, out)
        self._gone += len(out)
        needed = int(np.floor(self._gone * self._step + self._late.min())) - HALF
        drop = max(0, needed - self._first)
        self._sound = np.ascontiguousarray(self._sound[:, drop:])
        self._first += drop
        return out
