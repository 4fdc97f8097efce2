"""The average spectrum of a sound of any length, in third octaves."""

from __future__ import annotations

import numpy as np
from scipy.fft import rfft

from bench.arrays import Floats
from bench.tape.mistracking_map import FREQUENCIES_HZ

SEGMENT_S = 0.2
HALF_BAND = 10 ** (3 / 60)
"""From the centre of a third octave to its edge (IEC 61260-1)."""
LEAST_DB = -140.0
"""Below the noise of any 24-bit file."""


class AverageSpectrum:
    """Averages the power spectra of Hann-windowed segments over all channels.

    Args:
        rate: sample rate, Hz.
        channels: number of channels.
        every_s: time from the start of one segment to that of the next; at least `SEGMENT_S`.
    """

    def __init__(self, rate: float, channels: int, every_s: float = SEGMENT_S) -> None:
        self._size = round(SEGMENT_S * rate)
        self._every = max(float(self._size), every_s * rate)
        self._window = np.hanning(self._size).astype(np.float32)
        self._hz = np.fft.rfftfreq(self._size, 1 / rate)
        self._power: Floats = np.zeros(len(self._hz))
        self._segment = np.zeros((channels, self._size), dtype=np.float32)
        self._heard, self._filled, self._segments = 0, 0, 0

    def feed(self, samples: Floats) -> None:
        """Take in frames of shape (frames, channels)."""
        while len(samples):
            between = round(self._segments * self._every) + self._filled - self._heard
            taken = samples[between : between + self._size - self._filled]
            self._segment[:, self._filled : self._filled + len(taken)] = taken.T
            self._filled += len(taken)
            self._heard += min(len(samples), between + len(taken))
            samples = samples[between + len(taken) :]
            if self._filled == self._size:
                parts = rfft(self._segment * self._window).view(np.float32)  # real and imaginary parts by turns
                self._power += np.einsum("jk,jk->k", parts, parts).reshape(-1, 2).sum(axis=1)
                self._segments, self._filled = self._segments + 1, 0

    def bands(self) -> dict[float, float]:
        """Level of each third octave below half the sample rate, dBFS; a full-scale sine is 0 dBFS (AES17).

        Mean of the channels; empty for a sound shorter than a segment.
        """
        out = {}
        scale = 4.0 / (
            self._size * float((self._window.astype(float) ** 2).sum()) * max(1, self._segments) * len(self._segment)
        )
        for hz in FREQUENCIES_HZ:
            first, last = np.searchsorted(self._hz, (hz / HALF_BAND, hz * HALF_BAND))
            if self._segments and hz * HALF_BAND < self._hz[-1] and last > first:
                power = float(self._power[first:last].sum()) * scale
                out[hz] = max(LEAST_DB, 10 * float(np.log10(power + 1e-30)))
        return out
