"""The tracking demodulator: shifts a tone to baseband, where its level and phase are followed over time.

A stream is cut into overlapping chunks of fixed length. Each chunk is transformed once, and any number of tones are
demodulated from the same spectra: the bins around a tone are multiplied by the response of a linear-phase filter and
transformed back at a low rate (overlap-save filtering). Chunk boundaries are fixed in the stream, so the result does
not depend on the block size; the filter is shorter than the overlap, so the result is an exact FIR convolution.

Formula: z(t) = 2 · lowpass{ x(t) · exp(-2πi f0 t) }, so that A·cos(2π f t + φ) becomes A·exp(i(2π(f - f0)t + φ)).
Source: overlap-save filtering and decimation as in any text on signal processing (Crochiere and Rabiner, Multirate
Digital Signal Processing, 1983, chapter 7: from memory); Kaiser window for the filter.
Accuracy: flat within 0.00002 dB to ±400 Hz, 110 dB down from ±1000 Hz (both at a baseband rate of 2 kHz).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bench.measure.signal.blocks import Samples
from bench.measure.signal.quantisation_step import StepSize

Baseband = NDArray[np.complex128]

POINTS = 256
"""Baseband points per chunk; half of them are new in each chunk."""
HALF = POINTS // 2
RATE_HZ = 2000.0
"""Nominal baseband rate; the actual one is the sample rate divided by an integer."""
PASS = 0.4
STOP = 1.0
"""Passband and stopband edges of the filter, as fractions of half the baseband rate."""
STOPBAND_DB = 115.0


def decimation(sample_rate: float) -> int:
    """Samples per baseband point."""
    return max(1, round(sample_rate / RATE_HZ))


@lru_cache(maxsize=16)
def _response(step: int) -> NDArray[np.float64]:
    """Real response of the zero-phase filter at the bins -HALF … HALF-1 around a tone; `step` samples per point.

    Kaiser's design rule: length = (A - 7.95) / (2.285 Δω), β = 0.1102 (A - 8.7).
    """
    nyquist = np.pi / step
    width = (STOP - PASS) * nyquist
    half = min(int(np.ceil((STOPBAND_DB - 7.95) / (2.285 * width) / 2)), HALF * step // 2)
    n = np.arange(-half, half + 1)
    cutoff = (PASS + STOP) / 2 * nyquist
    taps = cutoff / np.pi * np.sinc(cutoff / np.pi * n) * np.kaiser(2 * half + 1, 0.1102 * (STOPBAND_DB - 8.7))
    taps /= taps.sum()
    about_zero = np.zeros(POINTS * step)
    about_zero[n] = taps
    return np.asarray(np.fft.rfft(about_zero).real[np.abs(np.arange(-HALF, HALF))])


class Spectra:
    """Cuts a stream into overlapping chunks and transforms each of them once.

    Chunk j covers the frames from (j - 1)·hop to (j + 1)·hop; the stream is padded with silence at both ends.

    Args:
        sample_rate: frames per second.
        channels: number of channels.
    """

    def __init__(self, sample_rate: float, channels: int) -> None:
        self.sample_rate = sample_rate
        self.channels = channels
        self.step = decimation(sample_rate)
        self.rate = sample_rate / self.step
        """Baseband rate, Hz."""
        self.size = POINTS * self.step
        self.hop = HALF * self.step
        self.bin_hz = sample_rate / self.size
        self.frames = 0
        """Frames fed so far."""
        self.rounding = StepSize()
        self._window = np.zeros((channels, self.size))
        self._filled = self.hop
        self._flushed = False

    def feed(self, samples: Samples) -> list[NDArray[np.complex128]]:
        """Process samples.

        Args:
            samples: shape (frames, channels), full scale ±1.

        Returns:
            The spectra of the chunks that these samples complete, each of shape (channels, size/2 + 1).
        """
        self.frames += len(samples)
        return self._take(samples)

    def finish(self) -> list[NDArray[np.complex128]]:
        """The last chunks, padded with silence. Nothing can be fed afterwards."""
        if self._flushed:
            return []
        self._flushed = True
        return self._take(np.zeros((2 * self.hop - (self.frames % self.hop), self.channels)))

    def _take(self, samples: Samples) -> list[NDArray[np.complex128]]:
        out = []
        at = 0
        while at < len(samples):
            count = min(self.size - self._filled, len(samples) - at)
            self._window[:, self._filled : self._filled + count] = samples[at : at + count].T
            self._filled += count
            at += count
            if self._filled == self.size:
                out.append(np.fft.rfft(self._window, axis=1))
                self.rounding.look(self._window[:, self.hop :])
                self._window[:, : self.hop] = self._window[:, self.hop :]
                self._filled = self.hop
        return out

    def start_of(self, chunk: int) -> int:
        """Index of the first baseband point of chunk number `chunk`; point p lies at frame p·step."""
        return (chunk - 1) * HALF + HALF // 2

    def points(self) -> int:
        """Number of baseband points within the frames fed so far."""
        return -(-self.frames // self.step)

    def nearest_bin(self, frequency_hz: float) -> int:
        """The bin nearest to a frequency."""
        return round(frequency_hz / self.bin_hz)

    def baseband(self, spectrum: NDArray[np.complex128], chunk: int, centre: int) -> Baseband:
        """The new baseband points of one chunk, as by `basebands`."""
        return self.basebands([spectrum], chunk, centre)

    def basebands(
        self,
        spectra: list[NDArray[np.complex128]],
        first: int,
        centre: int,
        narrowing: NDArray[np.float64] | None = None,
    ) -> Baseband:
        """The new baseband points of consecutive chunks.

        Args:
            spectra: their spectra from `feed`.
            first: number of the first chunk, counted from 0.
            centre: the bin that is shifted to zero frequency.
            narrowing: response, at the bins -HALF … HALF-1 around it, of a further filter of at most ±50 points.

        Returns:
            Shape (HALF · chunks, channels); the first point has index `start_of(first)`.
        """
        last = self.size // 2
        low, high = centre - HALF, centre + HALF
        bins = np.empty((len(spectra), self.channels, POINTS), dtype=np.complex128)
        if low >= 0 and high <= last + 1:
            for row, spectrum in zip(bins, spectra, strict=True):
                row[:, :HALF] = spectrum[:, centre:high]
                row[:, HALF:] = spectrum[:, low:centre]
        else:
            index = np.concatenate([np.arange(centre, high), np.arange(low, centre)])
            folded = np.abs((index + last) % self.size - last)
            mirrored = (index % self.size) > last
            for row, spectrum in zip(bins, spectra, strict=True):
                row[:] = np.where(mirrored, np.conj(spectrum[:, folded]), spectrum[:, folded])
        response = _response(self.step) if narrowing is None else _response(self.step) * narrowing
        bins *= np.concatenate([response[HALF:], response[:HALF]]) * (2.0 * POINTS / self.size)
        if centre % 2:
            bins[(first % 2) :: 2] *= -1.0  # a factor (-1)^(c - 1) keeps the oscillator continuous over chunks c
        z = np.fft.ifft(bins, axis=2)[:, :, HALF // 2 : HALF // 2 + HALF]
        return np.ascontiguousarray(z.transpose(0, 2, 1)).reshape(-1, self.channels)
