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
    """

    def __init__(self, rate: float, channels: int) -> None:
        self._size = round(SEGMENT_S * rate)
        self._window = np.hanning(self._size).astype(np.float32)
        self._hz = np.fft.rfftfreq(self._size, 1 / rate)
        self._power: Floats = np.zeros(len(self._hz))
        self._rest = np.zeros((0, channels))
        self._segments = 0
        self._channels = channels

    def feed(self, samples: Floats) -> None:
        """Take in frames of shape (frames, channels)."""
        have = np.concatenate((self._rest, samples))
        whole = len(have) // self._size
        if whole:
            pieces = have[: whole * self._size].reshape(whole, self._size, -1).transpose(0, 2, 1).astype(np.float32)
            spectra = rfft(pieces * self._window)
            parts = spectra.view(np.float32)  # real and imaginary parts by turns
            self._power += np.einsum("ijk,ijk->k", parts, parts).reshape(-1, 2).sum(axis=1)
        self._segments += whole
        self._rest = have[whole * self._size :]

    def bands(self) -> dict[float, float]:
        """Level of each third octave below half the sample rate, dBFS; a full-scale sine is 0 dBFS (AES17).

        Mean of the channels; empty for a sound shorter than a segment.
        """
        out = {}
        scale = 4.0 / (
            self._size * float((self._window.astype(float) ** 2).sum()) * max(1, self._segments) * self._channels
        )
        for hz in FREQUENCIES_HZ:
            first, last = np.searchsorted(self._hz, (hz / HALF_BAND, hz * HALF_BAND))
            if self._segments and hz * HALF_BAND < self._hz[-1] and last > first:
                power = float(self._power[first:last].sum()) * scale
                out[hz] = max(LEAST_DB, 10 * float(np.log10(power + 1e-30)))
        return out
