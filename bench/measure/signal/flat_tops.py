"""Detects clipping at any level: a stage ahead of the converter is overdriven.

A clipped wave has corners, which make its harmonics nearly equal up to high orders; tape saturation rounds the peaks,
and its harmonics fall off quickly. A heavily clipped peak is wide: a sine is within 5 % of its peak for acos(0.95)/π
of the time, one clipped at a fraction c of its peak for acos(0.95 c)/π. Only steady low tones are examined, because
their high harmonics lie within the band. Common practice, no source.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats

HOP_S, EVERY_S = 0.1, 0.2
LEAST = 0.01
"""Quieter signals, as a fraction of full scale, are not examined."""
LOWEST_HZ, LOW_HZ, HIGHEST_HZ, TOP_HZ = 60.0, 1200.0, 5000.0, 16000.0
ENOUGH_HZ = 44100.0
"""A higher sample rate is divided by a whole number, down to this at the lowest."""
INTERPOLATION, SHORT_S = 4, 0.02
"""For a tone above `LOW_HZ`: interpolation factor, and time over which the width of the peaks is measured."""
SURELY_ABOVE = 2.0
"""Noise adds crossings of zero: a tone with this many times those of one at `LOW_HZ` is surely above it."""
LOW_ORDERS, HIGH_ORDERS = (2, 3, 4), (6, 7, 8, 9, 10, 11)
HIGH_TO_LOW = 0.25
"""Least amplitude of the high harmonics of a clipped wave, as a fraction of the strongest low one."""
OVER_NOISE, OVER_TONE = 4.0, 2e-4
"""Their least ratio to the noise between them, and to the tone."""
NEAR_PEAK, MOST_TIME_NEAR_PEAK = 0.95, 0.163
"""A wave that spends more than the second fraction of the time above the first fraction of its peak is clipped by
0.8 dB or more."""
CLIPPED_HOPS = 5
"""This many clipped hops, minus the clean ones, are taken as proof."""
CLEAN_HOPS, THEN_EVERY = 25, 4
"""After the first number of clean hops in a row only one in the second number is examined, until one is clipped."""


class FlatTops:
    """Watches a stream of blocks of any length; it examines a tenth of a second five times a second.

    Args:
        sample_rate: frames per second.
        channels: number of channels.
    """

    def __init__(self, sample_rate: float, channels: int) -> None:
        self._rate = sample_rate
        self._few = max(1, int(sample_rate / ENOUGH_HZ))
        self._hop = round(HOP_S * sample_rate) // self._few * self._few
        self._every = round(EVERY_S * sample_rate)
        self._skip = 0
        self._rest = np.zeros((0, channels))
        self._row = [0] * channels
        self._clean = [0] * channels
        self._cut_at: list[float | None] = [None] * channels

    def feed(self, samples: NDArray[np.floating]) -> None:
        """Process samples of shape (frames, channels)."""
        if len(self._rest):
            samples = np.concatenate([self._rest, samples])
        at = self._skip
        while at + self._hop <= len(samples):
            self._look(samples[at : at + self._hop])
            at += self._every
        self._skip = max(0, at - len(samples))
        self._rest = np.array(samples[at:], dtype=np.float64)

    def _look(self, hop: NDArray[np.floating]) -> None:
        for c, wave in enumerate(np.array(hop.T, dtype=np.float64, order="C")):  # row by row: ten times as fast
            peak = max(float(wave.max()), -float(wave.min()))
            if peak < LEAST or self._cut_at[c] is not None:
                continue
            self._clean[c] += 1
            if self._clean[c] > CLEAN_HOPS and self._clean[c] % THEN_EVERY:
                continue
            coarse = wave.reshape(-1, self._few) @ np.full(self._few, 1.0 / self._few)
            if _is_cut(coarse, self._rate / self._few):
                self._row[c], self._clean[c] = self._row[c] + 1, 0
            else:
                self._row[c] = max(0, self._row[c] - 1)
            if self._row[c] >= CLIPPED_HOPS:
                self._cut_at[c] = peak

    @property
    def cut_at(self) -> tuple[float | None, ...]:
        """Peak level at which each channel is clipped, full scale 1; None where it is not."""
        return tuple(self._cut_at)


def _is_cut(hop: Floats, rate: float) -> bool:
    hop = hop - hop.mean()
    crossings = np.count_nonzero(np.diff(np.signbit(hop)))
    high = crossings / 2.0 * rate / len(hop) > SURELY_ABOVE * LOW_HZ
    if high and not _is_wide(_finer(hop[: round(SHORT_S * rate)])):
        return False  # most tones, without a spectrum
    size = np.abs(np.fft.rfft(hop * _blackman(len(hop))))
    bin_hz = rate / len(hop)
    low, top_bin = round(LOWEST_HZ / bin_hz), min(round(HIGHEST_HZ / bin_hz), len(size) - 1)
    k = low + int(np.argmax(size[low:top_bin]))
    if size[k] < 0.9 * size[low:].max():
        return False
    before, after = size[k - 1], size[k + 1]
    beside = 0.5 * (after - before) / (2.0 * size[k] - before - after + 1e-30)
    hz = bin_hz * (k + float(np.clip(beside, -0.5, 0.5)))
    if high or _is_wide(hop if hz <= LOW_HZ else _finer(hop[: round(SHORT_S * rate)])):
        return True
    if hz > LOW_HZ:
        return False
    top = min(TOP_HZ, 0.45 * rate) / hz
    strength = {n: _at(size, n * hz / bin_hz) for n in (*LOW_ORDERS, *HIGH_ORDERS) if n < top}
    for parity in (0, 1):
        orders = [n for n in HIGH_ORDERS if n % 2 == parity and n in strength]
        if len(orders) < 3:
            continue
        alike = float(np.median([strength[n] for n in orders]))
        noise = float(np.median([_at(size, (n + 0.5) * hz / bin_hz) for n in orders]))
        least = max(OVER_NOISE * noise, OVER_TONE * size[k], HIGH_TO_LOW * max(strength[n] for n in LOW_ORDERS))
        if alike > least:
            return True
    return False


def _is_wide(wave: Floats) -> bool:
    """Whether a wave spends more time near one of its peaks than a sine does."""
    near_peak = wave >= NEAR_PEAK * wave.max(), wave <= NEAR_PEAK * wave.min()
    return any(np.count_nonzero(near) > MOST_TIME_NEAR_PEAK * len(wave) for near in near_peak)


def _finer(wave: Floats) -> Floats:
    """The wave interpolated between its samples, without its ends, where interpolation is uncertain."""
    narrow, wide = _hann(len(wave)), _hann(INTERPOLATION * len(wave))
    fine = np.fft.irfft(np.fft.rfft(wave * narrow), len(wide)) * INTERPOLATION
    inner = slice(len(wide) // 4, 3 * len(wide) // 4)
    return np.asarray(fine[inner] / wide[inner])


def _at(size: Floats, at: float) -> float:
    """The largest of three bins, because flutter shifts a high harmonic."""
    middle = min(round(at), len(size) - 2)
    return float(size[middle - 1 : middle + 2].max())


_blackman, _hann = lru_cache(maxsize=4)(np.blackman), lru_cache(maxsize=8)(np.hanning)
