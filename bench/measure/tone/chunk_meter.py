"""The base class of meters that work on the spectra of chunks, their own or shared ones."""

from __future__ import annotations

from abc import ABC, abstractmethod

import numpy as np
from numpy.typing import NDArray

from bench.figures import hertz
from bench.measure.meters import Options
from bench.measure.reading import Channel, Measured
from bench.measure.signal.blocks import Samples
from bench.measure.signal.spectral_peaks import hann_power, strongest_peaks
from bench.measure.tone.demodulator import Spectra
from bench.measure.tone.finding.finder import side_of
from bench.measure.tone.follower import Chunk, Peaks
from bench.measure.tone.meter import CaptureCheck

BATCH = 16
"""Chunks per batch; batch boundaries are fixed in the stream, whatever the block size."""


class SpectraMeter(ABC):
    """A meter that processes chunks in batches of sixteen, with a delay of about a second.

    Args:
        sample_rate: frames per second.
        channels: 1 or 2.
        options: of the measurement.
        spectra: a shared source of chunks; its owner calls `take` and `close` instead of `feed` and `finish`.
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
        """Process samples of shape (frames, channels), full scale ±1."""
        hop = self.spectra.hop
        for at in range(0, len(samples), hop):  # hop by hop, to limit the number of spectra in memory
            part = samples[at : at + hop]
            self.capture.feed(part)
            for spectrum in self.spectra.feed(part):
                self.take(spectrum)

    def finish(self) -> Measured:
        """End the stream and return the readings."""
        for spectrum in self.spectra.finish():
            self.take(spectrum)
        return self.capture.judged(self.close(self.capture))

    def take(self, spectrum: NDArray[np.complex128], peaks: Peaks | None = None) -> None:
        """Process the next chunk, with its peaks if they are known already."""
        if peaks is None and self.needs_peaks:
            peaks = strongest_peaks(hann_power(spectrum, self.spectra.bin_hz), self.spectra.bin_hz)
        self._held.append(Chunk(self._chunk, spectrum, peaks or []))
        self._chunk += 1
        if self._chunk % BATCH == 0:
            self._pass_on()

    def close(self, capture: CaptureCheck) -> Measured:
        """The readings, after the last chunk."""
        self._pass_on()
        return self.conclude(capture)

    def _pass_on(self) -> None:
        held, self._held = self._held, []
        if held:
            self.batch(held)

    @abstractmethod
    def batch(self, chunks: list[Chunk]) -> None:
        """Process the next few chunks."""

    @abstractmethod
    def conclude(self, capture: CaptureCheck) -> Measured:
        """The readings from all chunks."""

    @property
    def sides(self) -> tuple[Channel, ...]:
        """The names of the channels."""
        return tuple(side_of(c, self.channels) for c in range(self.channels))

    def inside(self, start: int, points: int) -> slice:
        """The slice of `points` baseband points, from index `start` on, that lies within the stream."""
        return slice(max(0, -start), max(0, min(points, self.spectra.points() - start)))

    def too_high(self, hz: float) -> str:
        """Why there can be no tone at this frequency; empty if there can."""
        if hz < 0.5 * self.sample_rate:
            return ""
        return f"{hertz(hz)} is above half the sample rate of {hertz(self.sample_rate)}"
