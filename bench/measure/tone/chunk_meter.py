"""What meters share that live on the chunks of `tracking`: fed with blocks, or with chunks that are shared."""

from __future__ import annotations

from abc import ABC, abstractmethod

import numpy as np
from numpy.typing import NDArray

from bench.measure.meters import Options
from bench.measure.reading import Channel, Measured
from bench.measure.signal.blocks import Samples
from bench.measure.signal.spectral_peaks import hann_power, strongest_peaks
from bench.measure.tone.demodulator import Spectra
from bench.measure.tone.finder import side_of
from bench.measure.tone.follower import Chunk, Peaks
from bench.measure.tone.meter import CaptureCheck

BATCH = 16
"""Chunks that are dealt with together; their places are fixed, however the stream was fed."""


class SpectraMeter(ABC):
    """A meter on chunks, sixteen at a time: a second behind the sound, and quick.

    Args:
        sample_rate: frames a second.
        channels: 1 or 2.
        options: what was asked.
        spectra: shared chunks; whoever shares them calls `take` and `close`, not `feed` and `finish`.
    """

    needs_peaks = True

    def __init__(
        self, sample_rate: float, channels: int, options: Options | None = None, spectra: Spectra | None = None
    ) -> None:
        self.sample_rate = sample_rate
        self.channels = channels
        self.options = options or Options()
        self.spectra = spectra or Spectra(sample_rate, channels)
        self.capture = CaptureCheck(sample_rate, channels)
        self._chunk = 0
        self._held: list[Chunk] = []

    def feed(self, samples: Samples) -> None:
        """Take in frames of shape (frames, channels), full scale ±1."""
        hop = self.spectra.hop
        for at in range(0, len(samples), hop):  # piecewise, so that spectra of a long block are not all held at once
            part = samples[at : at + hop]
            self.capture.feed(part)
            for spectrum in self.spectra.feed(part):
                self.take(spectrum)

    def finish(self) -> Measured:
        """The stream is over: the readings."""
        for spectrum in self.spectra.finish():
            self.take(spectrum)
        return self.capture.judged(self.close(self.capture))

    def take(self, spectrum: NDArray[np.complex128], peaks: Peaks | None = None) -> None:
        """Take in the next chunk, with its peaks where they are known already."""
        if peaks is None and self.needs_peaks:
            peaks = strongest_peaks(hann_power(spectrum, self.spectra.bin_hz), self.spectra.bin_hz)
        self._held.append(Chunk(self._chunk, spectrum, peaks or []))
        self._chunk += 1
        if self._chunk % BATCH == 0:
            self._pass_on()

    def close(self, capture: CaptureCheck) -> Measured:
        """What it all amounts to, after the last chunk."""
        self._pass_on()
        return self.conclude(capture)

    def _pass_on(self) -> None:
        held, self._held = self._held, []
        if held:
            self.batch(held)

    @abstractmethod
    def batch(self, chunks: list[Chunk]) -> None:
        """What is done with the next few chunks."""

    @abstractmethod
    def conclude(self, capture: CaptureCheck) -> Measured:
        """What all the chunks amount to."""

    @property
    def sides(self) -> tuple[Channel, ...]:
        """What the channels are called."""
        return tuple(side_of(c, self.channels) for c in range(self.channels))

    def inside(self, start: int, points: int) -> slice:
        """Which of `points` baseband points from index `start` on lie within the stream."""
        return slice(max(0, -start), max(0, min(points, self.spectra.points() - start)))

    def too_high(self, hz: float) -> str:
        """Why a tone of this frequency can't be there; empty when it can."""
        if hz < 0.5 * self.sample_rate:
            return ""
        return f"{hz:g} Hz is above half the sample rate of {self.sample_rate:g} Hz"
