"""What the meters of tones share: the finder, and what must be said of a capture whatever the quantity."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence

import numpy as np

from bench.measure.meters import Options
from bench.measure.reading import Channel, Measured
from bench.measure.signal.blocks import Samples
from bench.measure.tone.finder import UNHURRIED, FoundTone, ToneFinder, side_of
from bench.measure.tone.peak_track import is_mains

REACH = 0.065
"""How far a tone may be from its nominal frequency: a domestic machine's worst speed of 6 % (common practice, no
source), and room for flutter."""
HUM_BELOW_DB = 20.0
"""A tone at a mains frequency this far under another within reach is hum."""
FULL_SCALE = 0.9999
NO_TONE = "no steady tone was found"
CLIPPED_RUN = 3
"""So many samples in a row at full scale are clipped."""


class ToneMeter(ABC):
    """Finds the tones of a stream; a subclass says what they amount to.

    Args:
        sample_rate: frames a second.
        channels: 1 or 2.
        options: what was asked.
    """

    def __init__(self, sample_rate: float, channels: int, options: Options | None = None) -> None:
        self.sample_rate = sample_rate
        self.channels = channels
        self.options = options or Options()
        asked = (self.options.frequency, self.options.nominal, *self.options.frequencies)
        hum = any(hz is not None and is_mains(hz) for hz in asked)
        self._finder = ToneFinder(sample_rate, channels, hum=hum, harvest=UNHURRIED)
        self._tones: list[FoundTone] = []
        self._capture = CaptureCheck(sample_rate, channels)

    def feed(self, samples: Samples) -> None:
        """Take in frames of shape (frames, channels), full scale ±1."""
        self._capture.feed(samples)
        self._tones += self._finder.feed(samples)

    def finish(self) -> Measured:
        """The readings."""
        self._tones += self._finder.finish()
        self._tones.sort(key=lambda t: t.start_s)
        measured = self.conclude(self._tones, self._capture)
        clipped = self._capture.clipping()
        return Measured(measured.readings, (*clipped, *measured.warnings))

    @abstractmethod
    def conclude(self, tones: Sequence[FoundTone], capture: CaptureCheck) -> Measured:
        """What the tones amount to; given all of a capture's tones, oldest first."""

    @property
    def sides(self) -> tuple[Channel, ...]:
        """What the channels are called."""
        return tuple(side_of(c, self.channels) for c in range(self.channels))


class CaptureCheck:
    """How much sound there was at all, and whether it was clipped.

    Args:
        sample_rate: frames a second.
        channels: 1 or 2.
    """

    def __init__(self, sample_rate: float, channels: int) -> None:
        self.sample_rate = sample_rate
        self.channels = channels
        self.frames = 0
        self.peak = 0.0
        """Of all channels."""
        self._clipped_at: list[int | None] = [None] * channels
        self._tail = np.zeros((CLIPPED_RUN - 1, channels), dtype=bool)

    def feed(self, samples: Samples) -> None:
        """Take in frames."""
        if not len(samples):
            return
        highest = max(float(samples.max()), -float(samples.min()))
        self.peak = max(self.peak, highest)
        if highest >= FULL_SCALE or self._tail.any():
            full = np.concatenate([self._tail, np.abs(samples) >= FULL_SCALE])
            run = full[:-2] & full[1:-1] & full[2:]
            for c in range(self.channels):
                if self._clipped_at[c] is None and run[:, c].any():
                    self._clipped_at[c] = self.frames + int(np.argmax(run[:, c])) - len(self._tail)
            self._tail = full[-(CLIPPED_RUN - 1) :]
        self.frames += len(samples)

    def clipping(self) -> tuple[str, ...]:
        """A sentence for each channel that is clipped."""
        return tuple(
            f"{side_of(c, self.channels)} channel clipped from {at / self.sample_rate:.3f} s on: readings are of the "
            "clipped sound; record it again at a lower level"
            for c, at in enumerate(self._clipped_at)
            if at is not None
        )

    def why_nothing(self) -> str:
        """Why there is no tone: the rest of "no reading, because …"."""
        if not self.peak > 0.0:
            return "the capture is silent"
        seconds = self.frames / self.sample_rate
        if seconds < 0.5:
            return f"the capture is too short: {seconds:.2f} s, and a tone must hold for 0.5 s"
        return NO_TONE


def nearest(tones: Sequence[FoundTone], asked_hz: float) -> list[FoundTone]:
    """The takes of the tone nearest to a frequency, within the reach of a wrong speed; oldest first."""
    near = [t for t in tones if abs(t.frequency_hz / asked_hz - 1.0) <= REACH]
    loudest = max((t.dbfs for t in near), default=0.0)
    near = [t for t in near if not (is_mains(t.frequency_hz) and t.dbfs < loudest - HUM_BELOW_DB)]
    if not near:
        return []
    best = min(near, key=lambda t: abs(np.log(t.frequency_hz / asked_hz)))
    return [t for t in near if abs(t.frequency_hz / best.frequency_hz - 1.0) < 0.01]


def dominant(tones: Sequence[FoundTone]) -> FoundTone:
    """The tone with the most energy."""
    return max(tones, key=lambda t: t.duration_s * sum(c.amplitude**2 for c in t.tones))


def tone_text(tone: FoundTone) -> str:
    """A tone in words: "1000.2 Hz at -20.0 dBFS from 3.1 s to 5.0 s"."""
    return f"{tone.frequency_hz:.1f} Hz at {tone.dbfs:.1f} dBFS from {tone.start_s:.1f} s to {tone.end_s:.1f} s"
