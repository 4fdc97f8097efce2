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
INTERPOLATION, SHORT_S = 4, 0.02
"""For a tone above `LOW_HZ`: interpolation factor, and time over which the width of the peaks is measured."""
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


class FlatTops:
    """Watches a stream of blocks of any length; it examines a tenth of a second five times a second.

    Args:
        sample_rate: frames per second.
        channels: number of channels.
    """

    def __init__(self, sample_rate: float, channels: int) -> None:
        self._rate = sample_rate
        self._hop, self._every = round(HOP_S * sample_rate), round(EVERY_S * sample_rate)
        self._skip = 0
        self._rest = np.zeros((0, channels))
        self._row = [0] * channels
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
        for c, peak in enumerate(np.abs(hop).max(axis=0)):
            if peak < LEAST or self._cut_at[c] is not None:
                continue
            cut = _is_cut(np.asarray(hop[:, c], dtype=np.float64), self._rate)
            self._row[c] = max(0, self._row[c] + (1 if cut else -1))
            if self._row[c] >= CLIPPED_HOPS:
                self._cut_at[c] = float(peak)

    @property
    def cut_at(self) -> tuple[float | None, ...]:
        """Peak level at which each channel is clipped, full scale 1; None where it is not."""
        return tuple(self._cut_at)


def _is_cut(hop: Floats, rate: float) -> bool:
    hop = hop - hop.mean()
    size = np.abs(np.fft.rfft(hop * _window(len(hop))))
    bin_hz = rate / len(hop)
    low, high = round(LOWEST_HZ / bin_hz), min(round(HIGHEST_HZ / bin_hz), len(size) - 1)
    k = low + int(np.argmax(size[low:high]))
    if size[k] < 0.9 * size[low:].max():
        return False
    before, after = size[k - 1], size[k + 1]
    beside = 0.5 * (after - before) / (2.0 * size[k] - before - after + 1e-30)
    hz = bin_hz * (k + float(np.clip(beside, -0.5, 0.5)))
    wave = hop if hz <= LOW_HZ else _finer(hop[: round(SHORT_S * rate)])
    if any(float(np.mean(side >= NEAR_PEAK * side.max())) > MOST_TIME_NEAR_PEAK for side in (wave, -wave)):
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


def _finer(wave: Floats) -> Floats:
    """The wave interpolated between its samples, without its ends, where interpolation is uncertain."""
    fine = np.fft.irfft(np.fft.rfft(wave * np.hanning(len(wave))), INTERPOLATION * len(wave)) * INTERPOLATION
    inner = slice(len(fine) // 4, 3 * len(fine) // 4)
    return np.asarray(fine[inner] / np.hanning(len(fine))[inner])


def _at(size: Floats, at: float) -> float:
    """The largest of three bins, because flutter shifts a high harmonic."""
    middle = min(round(at), len(size) - 2)
    return float(size[middle - 1 : middle + 2].max())


@lru_cache(maxsize=4)
def _window(count: int) -> Floats:
    return np.blackman(count)
