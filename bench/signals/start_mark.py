"""The start mark: recorded ahead of a sequence, it locates the sequence in replay at any speed error.

It consists of two chirps, one rising and one falling, whose period (not frequency) changes linearly. At another speed
such a chirp equals itself at another time, so one matched filter finds it at any speed: with phase
φ(t) = (2π/m)·ln(1 + m·f₁·t), φ(r·t) differs from φ(t - τ) by a constant only, τ = (1 - 1/r)/(m·f₁) (hyperbolic
frequency modulation, known from sonar as Doppler-invariant). τ has the opposite sign for a falling chirp, so the
spacing of the two gives the speed. Every deck passes the band of the mark.
"""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import count

import numpy as np
from numpy.fft import fft, ifft, irfft, rfft
from numpy.typing import NDArray

from bench.figures import as_given
from bench.problem import Problem
from bench.signals.tones import envelope, route_to_channels

LOW_HZ, HIGH_HZ = 500.0, 3500.0
CHIRP_S = 0.1
CHIRP_SPACING_S = 1.0
"""Interval from the start of the rising chirp to the start of the falling one."""
START_MARK_S = 1.5
"""Length of the mark, including the silence after it."""
_THRESHOLD = 0.5
"""Least normalised correlation (root of the energy); a steady tone in the band reaches 0.3, noise 0.25."""
_SLOWEST, _FASTEST = 0.9, 1.1
_WINDOW_S, _SHORT_S = 8.0, 5.1
"""Length of sound that is searched at once: in a capture, and while a replay is awaited."""
_LOW_RATE = 16000.0
"""Sample rate for the band of the mark; the peak of the envelope lies between two samples."""


class StartMark:
    """The start mark as a source; the sequence after it begins `START_MARK_S` after its start.

    Args:
        sample_rate: frames per second, at least 8000.
        dbfs: level of the chirps, dB re a full-scale sine (AES17).
    """

    def __init__(self, sample_rate: int, dbfs: float = -20.0) -> None:
        if sample_rate < 8000:
            raise Problem(f"start marks need a sample rate of 8000 Hz or more, not {sample_rate} Hz")
        if not -200.0 <= dbfs <= 0.0:
            raise Problem(f"start marks can't be sent at {as_given(dbfs)} dBFS; choose from −200 to 0 dBFS")
        self._samples = np.zeros(round(START_MARK_S * sample_rate))
        for at_s, rising in ((0.0, True), (CHIRP_SPACING_S, False)):
            chirp = _chirp(sample_rate, rising).real
            at = round(at_s * sample_rate)
            self._samples[at : at + len(chirp)] = 10.0 ** (dbfs / 20.0) * chirp

    @property
    def frames(self) -> int:
        """Length in frames, including the silence after the chirps."""
        return len(self._samples)

    @property
    def description(self) -> str:
        """Its description for the screen."""
        return "start mark"

    def render(self, start: int, frames: int) -> NDArray[np.float64]:
        """Samples from frame `start`, shape (frames, 2)."""
        out = np.zeros(frames)
        low, high = max(start, 0), min(start + frames, len(self._samples))
        if low < high:
            out[low - start : high - start] = self._samples[low:high]
        return route_to_channels(out, "both")


def find_start_mark(samples: NDArray[np.float64], rate: int) -> tuple[int, float] | None:
    """The first start mark in a capture.

    Args:
        samples: shape (frames,) or (frames, channels); a channel may be inverted, delayed, or without the mark.
        rate: frames per second of the capture.

    Returns:
        The frame at which the mark starts, and the tape speed (1.01: 1 % fast) from the spacing of the chirps, which
        includes wow; or None if there is no mark. A signal sent `t` seconds after the start of the mark is
        `t / speed` seconds after it in the capture.
    """
    x = samples[:, None] if samples.ndim == 1 else samples
    window, overlap = round(_WINDOW_S * rate), round(2 * START_MARK_S * rate)
    for start in range(0, max(1, len(x) - round(CHIRP_SPACING_S * rate / _FASTEST)), window - overlap):
        mark = _find_in_window(x[start : start + window], rate)
        if mark is not None:
            return max(0, start + mark[0]), mark[1]
    return None


def _find_in_window(x: NDArray[np.float64], rate: int) -> tuple[int, float] | None:
    if len(x) < (CHIRP_S + CHIRP_SPACING_S / _FASTEST) * rate or rate < 2 * HIGH_HZ:
        return None
    matched = _MatchedFilter(x, rate)
    rising = matched.fit(rising=True)
    peaks = _peaks(rising, round(CHIRP_S * matched.rate))
    if not peaks:
        return None
    falling = matched.fit(rising=False)
    apart, shift = CHIRP_SPACING_S * matched.rate, CHIRP_S * matched.rate / (HIGH_HZ - LOW_HZ)
    both = shift * (LOW_HZ + HIGH_HZ)
    nearest, farthest = (both + (apart - both) / r for r in (_FASTEST, _SLOWEST))
    for peak in peaks:
        low = int(peak + nearest)
        stretch = falling[low : int(peak + farthest) + 1]
        if not len(stretch) or stretch.max() < _THRESHOLD:
            continue
        second = low + int(np.argmax(stretch))
        first_at, second_at = _interpolated_peak(rising, peak), _interpolated_peak(falling, second)
        speed = (apart - both) / (second_at - first_at - both)
        at = first_at + (1.0 - 1.0 / speed) * shift * HIGH_HZ
        return round(at * rate / matched.rate), float(speed)
    return None


class _MatchedFilter:
    """Normalised correlation of a capture, shape (frames, channels), with a chirp, all channels together.

    Frequencies above the band of the mark are removed, so a lower sample rate is enough: `rate` is lower
    than the capture's.
    """

    def __init__(self, x: NDArray[np.float64], rate: int) -> None:
        # Two sizes for all lengths, because the FFT keeps tables for each size that it has met.
        longest_s = _WINDOW_S if len(x) > _SHORT_S * rate else _SHORT_S
        size = _fast_length((longest_s + CHIRP_S) * rate)
        self._size = min(size, _fast_length(size * _LOW_RATE / rate))
        self.rate = rate * self._size / size
        frames, n = int(len(x) * self._size / size), round(CHIRP_S * self.rate)
        hz = np.fft.rfftfreq(self._size, 1.0 / self.rate)
        band = (hz >= 0.8 * LOW_HZ) & (hz <= 1.2 * HIGH_HZ)
        scale = self._size / size
        self._spectra = [scale * band * rfft(channel, size)[: len(hz)] for channel in x.T]
        power = sum(irfft(spectrum, self._size)[:frames] ** 2 for spectrum in self._spectra)
        summed = np.concatenate([[0.0], np.cumsum(power)])
        energy = summed[n:] - summed[:-n]
        # A stretch 80 dB below the loudest is not a mark, and in silence the ratio would be one of rounding errors.
        self._energy = np.maximum(energy, 1e-8 * energy.max(initial=0.0) + 1e-20)

    def fit(self, *, rising: bool) -> NDArray[np.float64]:
        """The correlation at each frame where a whole chirp follows, 0 to 1."""
        template, half = _template(self.rate, self._size, rising)
        power = np.zeros(len(self._energy))
        for spectrum in self._spectra:
            # The analytic chirp has positive frequencies only, so the matched filter gives the envelope at any phase.
            matched = ifft(spectrum * template, self._size)[: len(power)]
            power += matched.real**2 + matched.imag**2
        return np.asarray(np.sqrt(power / (half * self._energy)))


@lru_cache(maxsize=8)
def _fast_length(least: float) -> int:
    """The next length without a prime factor above 5, for which the FFT is fast."""
    return next(length for length in count(math.ceil(least)) if 60**30 % length == 0)


@lru_cache(maxsize=4)
def _template(rate: float, size: int, rising: bool) -> tuple[NDArray[np.complex128], float]:
    """The matched filter of a chirp, at the positive frequencies of an FFT, and half the chirp's energy."""
    chirp = _chirp(rate, rising)
    return np.conj(fft(chirp, size)[: size // 2 + 1]), 0.5 * float(np.sum(np.abs(chirp) ** 2))


def _peaks(fit: NDArray[np.float64], apart: int) -> list[int]:
    """The peaks of the stretches above the threshold, in order, at least a chirp apart."""
    good = np.flatnonzero(fit >= _THRESHOLD)
    groups = np.split(good, np.flatnonzero(np.diff(good) > apart) + 1)
    return [int(group[np.argmax(fit[group])]) for group in groups if len(group)]


def _interpolated_peak(fit: NDArray[np.float64], at: int) -> float:
    """The position of a peak between frames, by a parabola through its three highest samples."""
    if not 0 < at < len(fit) - 1:
        return float(at)
    before, top, after = fit[at - 1 : at + 2]
    bend = before - 2.0 * top + after
    return float(at) if bend >= 0.0 else at + 0.5 * (before - after) / bend


def _chirp(rate: float, rising: bool) -> NDArray[np.complex128]:
    """The analytic chirp, peak 1, with raised-cosine edges."""
    first, last = (LOW_HZ, HIGH_HZ) if rising else (HIGH_HZ, LOW_HZ)
    frames = round(CHIRP_S * rate)
    n = np.arange(frames)
    m = (1.0 / last - 1.0 / first) / CHIRP_S
    phase = 2.0 * np.pi / m * np.log1p(m * first * n / rate)
    return np.asarray(envelope(n, frames, rate) * np.exp(1j * phase))
