"""The VU meter: for the level gauge, and for checking a machine's own meters.

Formula
    A needle of second order driven by the full-wave rectified signal: u'' = ω²(|x| − u) − 2ζω u' with ζ = 0.812717
    and ω = 13.511933 rad/s, which reaches 99 % in 0.300 s and overshoots by 1.25 % (computed).
Unit and reference
    VU. The rectified average is scaled to the rms of a sine (× 1.1107). 0 VU is a level in dBFS that you give: the
    line level of +4 dBu (1.228 V) that a workshop's 0 VU means depends on the interface.
Source
    IEC 60268-17: 99 % of a steady reading in 300 ms ± 10 %, overshoot 1 to 1.5 % (tolerance of the time from memory).
Accuracy
    Steady tones within 0.02 dB from 35 Hz to 1 kHz and 0.1 dB to 10 kHz (the needle's ripple aside).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.measure.signal.rectifier import Rectifier

Floats = NDArray[np.float64]

DAMPING = 0.812717
OMEGA = 13.511933
"""Radians per second."""
AVERAGE_TO_SINE_PEAK = np.pi / 2.0
"""Rectified average of a full-scale sine, 2/π, becomes 1."""
SCALE_VU = (-20.0, 3.0)
"""What the scale shows."""


class VuMeter:
    """A VU meter fed with blocks, its needle at rest at the start.

    Args:
        rate: samples per second.
        channels: how many.
        zero_dbfs: the level of a sine, dBFS, that reads 0 VU.
    """

    def __init__(self, rate: float, channels: int, zero_dbfs: float = 0.0) -> None:
        self._rectifier = Rectifier(rate, channels)
        self._factor = round(self._rectifier.rate / rate)
        step = OMEGA / self._rectifier.rate
        self._gain, self._damping = step * step, 2.0 * DAMPING * step
        self._state = np.zeros((channels, 2))
        self._highest = np.zeros(channels)
        self._scale = AVERAGE_TO_SINE_PEAK / 10.0 ** (zero_dbfs / 20.0)

    def feed(self, samples: Floats) -> Floats:
        """Take in (frames, channels); returns the needle's deflection after each frame, 1 being 0 VU."""
        from bench.measure.signal import kernels

        drive = self._rectifier.feed(samples)
        kernels.needle(drive, self._gain, self._damping, self._state, self._highest, drive)
        return np.asarray(drive[:, self._factor - 1 :: self._factor].T * self._scale)

    def now(self) -> Floats:
        """Where the needle stands, VU, one per channel; −inf at rest."""
        return _vu(self._state[:, 0] * self._scale)

    def highest(self) -> Floats:
        """The highest it stood so far, VU, one per channel."""
        return _vu(self._highest * self._scale)


def deflection(samples: Floats, rate: float, zero_dbfs: float = 0.0) -> Floats:
    """The needle's course over a capture, shape (frames, channels), 1 being 0 VU."""
    return VuMeter(rate, samples.shape[1], zero_dbfs).feed(samples)


def _vu(deflected: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(np.maximum(deflected, 0.0)))
