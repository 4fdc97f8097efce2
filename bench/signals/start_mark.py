"""Leader marks: sent before a sequence, they let its capture be found again whatever the speed error.

A mark is two chirps, one rising and one falling, whose period (not frequency) changes linearly. A change of
speed turns such a chirp into itself at another time, so one matched filter finds it at any speed: with
phase φ(t) = (2π/m)·ln(1 + m·f₁·t), φ(r·t) differs from φ(t - τ) by a constant only, τ = (1 - 1/r)/(m·f₁)
(hyperbolic frequency modulation, known from sonar for being Doppler-invariant). τ has the other sign for a
falling chirp, so the distance of the two gives the speed. The band is one that any deck passes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.problem import Problem
from bench.signals.tones import envelope, on_channels

LOW_HZ, HIGH_HZ = 500.0, 3500.0
CHIRP_S = 0.1
APART_S = 1.0
"""From the start of the rising chirp to the start of the falling one."""
START_MARK_S = 1.5
"""Length of the mark with the silence that follows it."""
_MATCH = 0.5
"""How much of the energy (as its root) must be the chirp's; a steady tone in the band reaches 0.3, noise 0.25."""
_SLOWEST, _FASTEST = 0.9, 1.1
_WINDOW_S = 8.0


class StartMark:
    """The mark as a source; what follows it begins `START_MARK_S` after its start.

    Args:
        sample_rate: frames a second, at least 8000.
        dbfs: level of its chirps, as of a sine (AES17).
    """

    def __init__(self, sample_rate: int, dbfs: float = -20.0) -> None:
        if sample_rate < 8000:
            raise Problem(f"leader marks need a sample rate of 8000 Hz or more, not {sample_rate} Hz")
        if not -200.0 <= dbfs <= 0.0:
            raise Problem(f"leader marks can't be sent at {dbfs:g} dBFS; choose from -200 to 0 dBFS")
        self._samples = np.zeros(round(START_MARK_S * sample_rate))
        for at_s, rising in ((0.0, True), (APART_S, False)):
            chirp = _chirp(sample_rate, rising).real
            at = round(at_s * sample_rate)
            self._samples[at : at + len(chirp)] = 10.0 ** (dbfs / 20.0) * chirp

    @property
    def frames(self) -> int:
        """Length in frames, the silence after the chirps included."""
        return len(self._samples)

    @property
    def description(self) -> str:
        """The mark in words."""
        return "leader mark"

    def render(self, start: int, frames: int) -> NDArray[np.float64]:
        """Samples from frame `start`, shape (frames, 2)."""
        out = np.zeros(frames)
        low, high = max(start, 0), min(start + frames, len(self._samples))
        if low < high:
            out[low - start : high - start] = self._samples[low:high]
        return on_channels(out, "both")


def find_start_mark(samples: NDArray[np.float64], rate: int) -> tuple[int, float] | None:
    """The first leader mark in a capture.

    Args:
        samples: shape (frames,) or (frames, channels); a channel may be inverted, late, or without the mark.
        rate: frames a second of the capture.

    Returns:
        The frame at which the mark starts and how fast the tape ran (1.01: 1 % fast), as the distance of the two
        chirps has it, wow included; or None when there is no mark. A part that lay `t` seconds after the start
        of the mark when it was sent is found `t / speed` seconds after it in the capture.
    """
    x = samples[:, None] if samples.ndim == 1 else samples
    window, overlap = round(_WINDOW_S * rate), round(2 * START_MARK_S * rate)
    for start in range(0, max(1, len(x) - round(APART_S * rate / _FASTEST)), window - overlap):
        mark = _find_in(x[start : start + window], rate)
        if mark is not None:
            return max(0, start + mark[0]), mark[1]
    return None


def _find_in(x: NDArray[np.float64], rate: int) -> tuple[int, float] | None:
    chirp_frames = round(CHIRP_S * rate)
    if len(x) < chirp_frames + APART_S * rate / _FASTEST or rate < 2 * HIGH_HZ:
        return None
    rising, falling = _matches(x, rate)
    apart, shift = APART_S * rate, CHIRP_S * rate / (HIGH_HZ - LOW_HZ)
    both = shift * (LOW_HZ + HIGH_HZ)
    nearest, farthest = (both + (apart - both) / r for r in (_FASTEST, _SLOWEST))
    for peak in _peaks(rising, chirp_frames):
        low = int(peak + nearest)
        stretch = falling[low : int(peak + farthest) + 1]
        if not len(stretch) or stretch.max() < _MATCH:
            continue
        second = low + int(np.argmax(stretch))
        first_at, second_at = _between(rising, peak), _between(falling, second)
        speed = (apart - both) / (second_at - first_at - both)
        return round(first_at + (1.0 - 1.0 / speed) * shift * HIGH_HZ), float(speed)
    return None


def _matches(x: NDArray[np.float64], rate: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How well each chirp fits at each frame, 0 to 1, all channels together."""
    chirps = [_chirp(rate, rising) for rising in (True, False)]
    n = len(chirps[0])
    size = 1 << (len(x) + n - 1).bit_length()
    spectrum = np.fft.rfft(x, size, axis=0)
    hz = np.fft.rfftfreq(size, 1.0 / rate)
    spectrum[(hz < 0.8 * LOW_HZ) | (hz > 1.2 * HIGH_HZ)] = 0.0
    passed = np.fft.irfft(spectrum, size, axis=0)[: len(x)]
    summed = np.concatenate([[0.0], np.cumsum(np.sum(passed**2, axis=1))])
    energy = summed[n:] - summed[:-n]
    # What is 80 dB under the loudest stretch is no mark, and in silence the ratio would be of rounding errors.
    energy = np.maximum(energy, 1e-8 * energy.max(initial=0.0) + 1e-20)
    fits = []
    for chirp in chirps:
        half = 0.5 * float(np.sum(np.abs(chirp) ** 2))
        # The analytic chirp has positive frequencies only: the matched filter gives its envelope at any phase.
        template = np.conj(np.fft.fft(chirp, size))[: len(spectrum), None]
        padded = np.zeros((size, x.shape[1]), dtype=np.complex128)
        padded[: len(spectrum)] = spectrum * template
        matched = np.fft.ifft(padded, axis=0)[: len(x) - n + 1]
        fits.append(np.sqrt(np.sum(np.abs(matched) ** 2, axis=1) / (half * energy)))
    return fits[0], fits[1]


def _peaks(fit: NDArray[np.float64], apart: int) -> list[int]:
    """Highest frames of the stretches that match, in order, no two nearer than a chirp."""
    good = np.flatnonzero(fit >= _MATCH)
    groups = np.split(good, np.flatnonzero(np.diff(good) > apart) + 1)
    return [int(group[np.argmax(fit[group])]) for group in groups if len(group)]


def _between(fit: NDArray[np.float64], at: int) -> float:
    """The peak between frames, by a parabola through the three highest."""
    if not 0 < at < len(fit) - 1:
        return float(at)
    before, top, after = fit[at - 1 : at + 2]
    bend = before - 2.0 * top + after
    return float(at) if bend >= 0.0 else at + 0.5 * (before - after) / bend


def _chirp(rate: int, rising: bool) -> NDArray[np.complex128]:
    """The analytic chirp, peak 1, with raised-cosine edges."""
    first, last = (LOW_HZ, HIGH_HZ) if rising else (HIGH_HZ, LOW_HZ)
    frames = round(CHIRP_S * rate)
    n = np.arange(frames)
    m = (1.0 / last - 1.0 / first) / CHIRP_S
    phase = 2.0 * np.pi / m * np.log1p(m * first * n / rate)
    return np.asarray(envelope(n, frames, rate) * np.exp(1j * phase))
