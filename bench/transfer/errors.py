"""The errors of a transfer as facts: level, treble, azimuth and speed."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from bench.arrays import Floats
from bench.problem import Problem
from bench.tape.mistracking_map import ReplayErrors

STRETCH_S = 10.0
"""Length of the stretches in which an azimuth delay is measured along a capture."""
ONE_CHANNEL = "an azimuth delay lies between two channels, and this capture has one; leave it out"
LONGEST_DELAY_US = 5000.0
"""More than ten times what azimuth causes on any machine."""
LARGEST_SPEED_ERROR_PERCENT = 20.0
"""A larger speed error means that the tape was played at another nominal speed."""


@dataclass(frozen=True, slots=True)
class ChannelErrors:
    """Level and treble errors of one channel; positive means too high."""

    errors: ReplayErrors = field(default_factory=ReplayErrors)
    uncertainty_db: tuple[tuple[float, float], ...] | None = None
    """(Hz, dB): expanded uncertainty (k = 2) of level and treble together; None if unknown."""

    def response_db(self, frequency_hz: ArrayLike) -> Floats:
        """The treble error relative to the reference frequency: smooth over log f, and exact at the measured points.

        Monotone cubic interpolation (Fritsch and Carlson, SIAM J. Numer. Anal. 17, 1980; from memory). The last slope
        continues for half an octave above the highest point, because tape and head losses do not stop at the highest
        tone that was measured. Beyond that, and below the lowest point, the error is constant.
        """
        hz = np.maximum(np.asarray(frequency_hz, dtype=float), 1e-3)
        if not self.errors.treble:
            return np.zeros(hz.shape)
        from scipy.interpolate import PchipInterpolator

        points = sorted([(self.errors.reference_hz, 0.0), *self.errors.treble])
        points.append(_extrapolated(*points[-2:]))
        at, db = np.log([p[0] for p in points]), [p[1] for p in points]
        return np.asarray(PchipInterpolator(at, db)(np.clip(np.log(hz), at[0], at[-1])))

    def uncertainty_at(self, frequency_hz: ArrayLike) -> Floats | None:
        """Expanded uncertainty (k = 2) of level and treble together, dB: linear in log f, constant beyond."""
        if self.uncertainty_db is None:
            return None
        points = sorted(self.uncertainty_db)
        at = np.log([p[0] for p in points])
        return np.asarray(np.interp(np.log(np.asarray(frequency_hz, dtype=float)), at, [p[1] for p in points]))


def _extrapolated(last_but_one: tuple[float, float], last: tuple[float, float]) -> tuple[float, float]:
    """The two points, (Hz, dB), extrapolated half an octave upwards over log f."""
    slope = (last[1] - last_but_one[1]) / np.log2(last[0] / last_but_one[0])
    return last[0] * 2**0.5, last[1] + slope / 2


@dataclass(frozen=True, slots=True)
class AzimuthCourse:
    """The delay in the middle of each stretch; it is linear between the middles."""

    delay_us: tuple[float, ...]
    """Positive: the right channel is late."""
    uncertainty_us: float
    """Expanded (k = 2), that of one reading: a stereo image that delays one channel does so in all stretches alike, so
    that an average over many is no better."""
    read: int
    """Number of stretches with a reading; in the others the programme does not show the delay of the head, and they
    have that of their neighbours."""

    @property
    def mean_us(self) -> float:
        """The average over the capture."""
        return float(np.mean(self.delay_us))

    @property
    def varies(self) -> bool:
        """Whether it varies."""
        return max(self.delay_us) - min(self.delay_us) > 1e-9

    @property
    def middles_s(self) -> tuple[float, ...]:
        """The middle of each stretch, from the start of the capture."""
        return tuple((n + 0.5) * STRETCH_S for n in range(len(self.delay_us)))


@dataclass(frozen=True, slots=True)
class TransferErrors:
    """The errors of a transfer, relative to what was recorded.

    Raises:
        Problem: no machine has such a delay or speed.
    """

    channels: tuple[ChannelErrors, ...]
    """One for each channel."""
    azimuth_delay_us: float = 0.0
    """Positive: the right channel is late."""
    speed_error_percent: float = 0.0
    """Positive: it plays too fast."""
    azimuth_course: AzimuthCourse | None = None
    """The delay along the capture, if it was measured; `azimuth_delay_us` is then its mean."""

    def __post_init__(self) -> None:
        if not abs(self.azimuth_delay_us) <= LONGEST_DELAY_US:
            raise Problem(
                f"an azimuth delay of {self.azimuth_delay_us:g} µs is no head's: give one from "
                f"−{LONGEST_DELAY_US:g} to {LONGEST_DELAY_US:g} µs"
            )
        if not abs(self.speed_error_percent) <= LARGEST_SPEED_ERROR_PERCENT:
            raise Problem(
                f"a speed error of {self.speed_error_percent:g} %: give one from −{LARGEST_SPEED_ERROR_PERCENT:g} to "
                f"{LARGEST_SPEED_ERROR_PERCENT:g} %, or transfer the tape at its own speed"
            )
        if self.azimuth_delay_us and len(self.channels) < 2:
            raise Problem(ONE_CHANNEL)

    @property
    def speed(self) -> float:
        """Playing speed relative to the right speed."""
        return 1 + self.speed_error_percent / 100

    @property
    def channel_delays_s(self) -> Floats:
        """Delay of each channel relative to the left one, s; shape (channels, stretches).

        There is one stretch where the delay is constant.
        """
        right = [self.azimuth_delay_us] if self.azimuth_course is None else self.azimuth_course.delay_us
        return np.stack((np.zeros(len(right)), np.array(right) * 1e-6))[: len(self.channels)]

    @property
    def needs_resampling(self) -> bool:
        """Whether the sound needs resampling or a delay."""
        return not math.isclose(self.speed, 1.0, abs_tol=1e-9) or bool(self.channel_delays_s.any())
