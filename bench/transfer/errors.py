"""What a transfer has that was not recorded: errors of level, treble, azimuth and speed, as facts."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bench.problem import Problem
from bench.tape.mistracking_map import ReplayErrors
from bench.transfer.azimuth_course import AzimuthCourse

Floats = NDArray[np.float64]

ONE_CHANNEL = "an azimuth delay lies between two channels, and this capture has one; leave it out"
LONGEST_DELAY_US = 5000.0
"""Azimuth makes less than a tenth of this on any machine."""
FASTEST_PERCENT = 20.0
"""A speed further off than this is another nominal speed."""


@dataclass(frozen=True, slots=True)
class ChannelErrors:
    """What one channel of a transfer has too much, + or −, of level and treble."""

    errors: ReplayErrors = field(default_factory=ReplayErrors)
    uncertainty_db: tuple[tuple[float, float], ...] | None = None
    """(Hz, dB): expanded uncertainty (k = 2) of level and treble together; None where it is not known."""

    def response_db(self, frequency_hz: ArrayLike) -> Floats:
        """The treble error, re the reference frequency: smooth over log f, exact at the points.

        Between the points a cubic that rises or falls only where they do (Fritsch and Carlson, SIAM J. Numer. Anal. 17,
        1980; from memory). Above them the last slope goes on for half an octave, because losses of tape and heads do
        not end where the last tone was, and then it is level; below them it is level.
        """
        hz = np.maximum(np.asarray(frequency_hz, dtype=float), 1e-3)
        if not self.errors.treble:
            return np.zeros(hz.shape)
        from scipy.interpolate import PchipInterpolator

        points = sorted([(self.errors.reference_hz, 0.0), *self.errors.treble])
        points.append(_further(*points[-2:]))
        at, db = np.log([p[0] for p in points]), [p[1] for p in points]
        return np.asarray(PchipInterpolator(at, db)(np.clip(np.log(hz), at[0], at[-1])))

    def uncertainty_at(self, frequency_hz: ArrayLike) -> Floats | None:
        """Of level and treble together, dB (k = 2): between the points by log f, the last one's beyond."""
        if self.uncertainty_db is None:
            return None
        points = sorted(self.uncertainty_db)
        at = np.log([p[0] for p in points])
        return np.asarray(np.interp(np.log(np.asarray(frequency_hz, dtype=float)), at, [p[1] for p in points]))


def _further(last_but_one: tuple[float, float], last: tuple[float, float]) -> tuple[float, float]:
    """A point half an octave above two points, (Hz, dB), in line with them over log f."""
    slope = (last[1] - last_but_one[1]) / np.log2(last[0] / last_but_one[0])
    return last[0] * 2**0.5, last[1] + slope / 2


@dataclass(frozen=True, slots=True)
class TransferErrors:
    """What a transfer has that was not recorded.

    Raises:
        Problem: a delay or a speed that is no machine's.
    """

    channels: tuple[ChannelErrors, ...]
    """One for each channel."""
    azimuth_delay_us: float = 0.0
    """Positive: the right channel is late."""
    speed_error_percent: float = 0.0
    """Positive: it plays fast."""
    azimuth_course: AzimuthCourse | None = None
    """The delay over the capture, where it was read from it; `azimuth_delay_us` is its mean then."""

    def __post_init__(self) -> None:
        if not abs(self.azimuth_delay_us) <= LONGEST_DELAY_US:
            raise Problem(
                f"an azimuth delay of {self.azimuth_delay_us:g} µs is no head's: give one from "
                f"−{LONGEST_DELAY_US:g} to {LONGEST_DELAY_US:g} µs"
            )
        if not abs(self.speed_error_percent) <= FASTEST_PERCENT:
            raise Problem(
                f"a speed error of {self.speed_error_percent:g} %: give one from −{FASTEST_PERCENT:g} to "
                f"{FASTEST_PERCENT:g} %, or transfer the tape at its own speed"
            )
        if self.azimuth_delay_us and len(self.channels) < 2:
            raise Problem(ONE_CHANNEL)

    @property
    def speed(self) -> float:
        """How many times too fast it plays."""
        return 1 + self.speed_error_percent / 100

    @property
    def late_s(self) -> Floats:
        """How much later each channel comes than it should: the left one is the measure.

        Shape (channels, stretches); one stretch where the delay is constant.
        """
        right = [self.azimuth_delay_us] if self.azimuth_course is None else self.azimuth_course.delay_us
        return np.stack((np.zeros(len(right)), np.array(right) * 1e-6))[: len(self.channels)]

    @property
    def moves(self) -> bool:
        """Whether sound has to be moved in time."""
        return not math.isclose(self.speed, 1.0, abs_tol=1e-9) or bool(self.late_s.any())
