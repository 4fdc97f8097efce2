"""The full-wave rectifier ahead of average and quasi-peak meters.

It runs at 176.4 kHz or faster: at 48 kHz the samples of an 8 kHz tone can miss its peak by 1.2 dB and its average by
0.9 dB. So the signal is interpolated first (windowed sinc, flat to 18 kHz, images 40 dB down).
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from bench.arrays import Floats

SLOWEST_HZ = 176400.0
"""The lowest sample rate at which the rectifier runs."""
FLAT_HZ = 18000.0


class Rectifier:
    """Interpolates and rectifies, block by block.

    Args:
        rate: input samples per second.
        channels: number of channels.
    """

    def __init__(self, rate: float, channels: int) -> None:
        self._phases = interpolator(rate)
        self._history = np.zeros((channels, self._phases.shape[1] - 1))
        self.rate = rate * len(self._phases)
        """Output samples per second."""

    def feed(self, x: Floats) -> Floats:
        """|x| of (frames, channels) at `rate`, shape (channels, frames · factor)."""
        from bench.measure.signal import kernels

        out = kernels.rectify(np.ascontiguousarray(x), self._phases, self._history)
        return out.reshape(x.shape[1], -1)


@lru_cache(maxsize=16)
def interpolator(rate: float) -> Floats:
    """The polyphase filters of the interpolator for a sample rate, newest sample last, shape (factor, taps).

    Every phase has a DC gain of 1, so that a constant stays constant.
    """
    factor = max(1, math.ceil(SLOWEST_HZ / rate - 1e-9))
    if factor == 1:
        return np.ones((1, 1))
    taps = 2 * math.ceil(1.1 * rate / max(rate - 2.0 * FLAT_HZ, rate / 8.0))
    places = np.arange(taps) - (taps // 2 - 1)
    out = np.zeros((factor, taps))
    for phase in range(factor):
        away = places - phase / factor
        out[phase] = np.sinc(away) * np.i0(4.0 * np.sqrt(np.clip(1.0 - (away / (taps / 2)) ** 2, 0.0, 1.0)))
        out[phase] /= out[phase].sum()
    return out
