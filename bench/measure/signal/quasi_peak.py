"""Quasi-peak indication: for BS.468 noise and for flutter.

Formula
    Two cascaded stages after a full-wave rectifier. Each leaks continuously and charges while its input exceeds its
    own value: dv/dt = max(u − v, 0) / charge − v / leak. The time constants are our fit to the published tables, not
    a published circuit.
Unit and reference
    The unit of the input. Calibrated to read the rms of a 1 kHz sine (BS.468-4 annex 1) or the peak of a 4 Hz sine
    (flutter, IEC 60386).
Source
    Recommendation ITU-R BS.468-4 annex 1 tables 2 and 3 (from memory); IEC 60386, indicator dynamics (60 ms and the
    decay as given in the abstract of AES6, the rest from memory).
Accuracy
    BS.468: every row of both burst tables within a fifth of its tolerance, at any sample rate. Flutter: every pulse
    within 0.7 of its tolerance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from bench.arrays import Floats


@dataclass(frozen=True, slots=True)
class Ballistics:
    """The time constants and calibration of a quasi-peak indicator."""

    milliseconds: tuple[float, float, float, float]
    """Charge and leak of the first stage, then of the second."""
    unity_hz: float
    """Frequency of the calibrating sine."""
    unity: float
    """Indication for that sine with a peak of 1."""


BS468 = Ballistics((1.445, 289.6, 236.2, 347.7), unity_hz=1000.0, unity=math.sqrt(0.5))
FLUTTER = Ballistics((34.5, 510.0, 282.0, 606.0), unity_hz=4.0, unity=1.0)


class QuasiPeak:
    """A quasi-peak indicator, fed with the output of a rectifier and discharged at the start.

    Args:
        rate: input samples per second.
        channels: number of channels.
        ballistics: `BS468` or `FLUTTER`.
    """

    def __init__(self, rate: float, channels: int, ballistics: Ballistics) -> None:
        self._rates = _per_sample(rate, ballistics)
        self._held = np.zeros((channels, 2))
        self._scale = _scale(rate, ballistics)

    def feed(self, drive: Floats) -> Floats:
        """Process (channels, samples), non-negative; returns the highest indication within them, per channel."""
        from bench.measure.signal import kernels

        highest = self._held[:, 1].copy()
        kernels.quasi_peak(drive, self._rates, self._held, highest)
        return highest * self._scale

    def now(self) -> Floats:
        """The present indication, per channel."""
        return self._held[:, 1] * self._scale


def _per_sample(rate: float, ballistics: Ballistics) -> Floats:
    return 1e3 / (np.array(ballistics.milliseconds) * rate)


@lru_cache(maxsize=16)
def _scale(rate: float, ballistics: Ballistics) -> float:
    """The calibration factor, from the indication for the calibrating sine after 12 of the longest time constants."""
    from bench.measure.signal import kernels

    rates = _per_sample(rate, ballistics)
    period = rate / ballistics.unity_hz
    settle = round(12e-3 * max(ballistics.milliseconds) * rate)
    drive = np.abs(np.sin(2 * np.pi * np.arange(settle + round(period)) / period))[None, :]
    held, highest = np.zeros((1, 2)), np.zeros(1)
    kernels.quasi_peak(drive[:, :settle], rates, held, highest)
    highest[:] = 0.0
    kernels.quasi_peak(drive[:, settle:], rates, held, highest)
    return ballistics.unity / float(highest[0])
