"""One tone of a stream, or of a whole array, brought down to baseband."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.measure.signal.blocks import Samples
from bench.measure.tone.demodulator import Baseband, Spectra


class Demodulator:
    """One tone brought down to zero frequency, fed block by block.

    The passband is ±400 Hz about the bin nearest to `carrier_hz`, which lies within 4 Hz of it: give the measured
    carrier, not the nominal one, when a wide band of flutter is wanted.

    Args:
        sample_rate: frames a second.
        channels: channels of the stream.
        carrier_hz: frequency of the tone.
    """

    def __init__(self, sample_rate: float, channels: int, carrier_hz: float) -> None:
        self._spectra = Spectra(sample_rate, channels)
        self._bin = self._spectra.nearest_bin(carrier_hz)
        self._chunk = 0
        self._given = 0
        self.oscillator_hz = self._bin * self._spectra.bin_hz
        """The frequency that becomes zero."""
        self.rate = self._spectra.rate
        """Baseband points a second; point p is at p / rate seconds."""

    def feed(self, samples: Samples) -> Baseband:
        """Take in frames of shape (frames, channels); returns the new baseband points, shape (points, channels)."""
        return self._bring_down(self._spectra.feed(samples))

    def finish(self) -> Baseband:
        """The points that were still in the filter."""
        tail = self._bring_down(self._spectra.finish())
        over = self._given - self._spectra.points()
        if over > 0:
            self._given -= over
            tail = tail[: len(tail) - over]
        return tail

    def _bring_down(self, spectra: list[NDArray[np.complex128]]) -> Baseband:
        out = []
        for spectrum in spectra:
            z = self._spectra.baseband(spectrum, self._chunk, self._bin)
            out.append(z[max(0, -self._spectra.start_of(self._chunk)) :])
            self._chunk += 1
        if not out:
            return np.zeros((0, self._spectra.channels), dtype=np.complex128)
        joined = np.concatenate(out)
        self._given += len(joined)
        return joined


def demodulate(
    samples: NDArray[np.float64], sample_rate: float, carrier_hz: float
) -> tuple[NDArray[np.complex128], float, float]:
    """A whole array brought down at once.

    Args:
        samples: shape (frames, channels).
        sample_rate: frames a second.
        carrier_hz: frequency of the tone.

    Returns:
        The baseband of shape (points, channels), its rate in Hz and the frequency that became zero, Hz.
    """
    tracker = Demodulator(sample_rate, samples.shape[1], carrier_hz)
    z = np.concatenate([tracker.feed(samples), tracker.finish()])
    return z, tracker.rate, tracker.oscillator_hz
