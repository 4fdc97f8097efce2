"""The azimuth delay over the length of a capture, read from its programme.

A shell guides its tape a little differently from start to end, and a tape may have been recorded in several sittings.
The delay is read in stretches of equal length (`bench.measure.quantities.programme.azimuth`). Between two stretches it
may wander by a random step, whose size is the one that makes all readings most likely. Each stretch then has the delay
that all of them together make most likely (Kalman 1960; Rauch, Tung and Striebel 1965; from memory), so that a tape
whose delay is constant gets their weighted average.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.measure.quantities.programme.azimuth import ProgrammeMeter
from bench.measure.reading import NoReading, Reading, Result
from bench.transfer.errors import STRETCH_S, AzimuthCourse

MEASURED_S = 5.0
"""So much is measured in the middle of each stretch: more would take twice the time, and be little better."""
LEAST_S = 6.5
"""The last stretch counts from this length on."""
STEPS_US = (0.0, *np.geomspace(0.1, 30.0, 26).tolist())
"""Standard deviations of the step between stretches that are tried; the most likely one is used."""
CLEARLY = 2.0
"""A varying course must exceed a constant one by this log-likelihood: one more parameter was fitted, so
that chance alone gives it in 2 to 3 % of cases (half of χ² with one degree of freedom)."""
STRAY = math.log(0.05 / 800.0) + math.log(2 * math.pi) / 2
"""Log-likelihood of a reading caused by the stereo image, not by the head: one in twenty, and
anywhere in the search range. Common practice, no source. Less likely readings are ignored."""
UNKNOWN_US2 = 1e6
"""Prior variance of the delay."""


class CourseReader:
    """Measures the delay along a capture of two channels.

    Args:
        rate: sample rate, Hz.
    """

    def __init__(self, rate: float) -> None:
        self._rate, self._frames = rate, round(STRETCH_S * rate)
        self._first = round((STRETCH_S - MEASURED_S) / 2 * rate)
        self._meter, self._heard = ProgrammeMeter(rate, 2), 0
        self._readings: list[Result] = []

    def feed(self, samples: Floats) -> None:
        """Take in frames of shape (frames, 2)."""
        while len(samples):
            now, samples = np.split(samples, [self._frames - self._heard])
            middle = slice(max(0, self._first - self._heard), max(0, self._frames - self._first - self._heard))
            self._meter.feed(now[middle])
            self._heard += len(now)
            if self._heard == self._frames:
                self._close()

    def _close(self) -> None:
        self._readings.append(self._meter.now())
        self._meter, self._heard = ProgrammeMeter(self._rate, 2), 0

    def course(self) -> AzimuthCourse | str:
        """The delay over the capture; or why no stretch gave a reading."""
        if self._heard >= LEAST_S * self._rate or not self._readings:
            self._close()
        readings = [r if isinstance(r, Reading) else None for r in self._readings]
        uncertainties = [r.uncertainty for r in readings if r is not None]
        if not uncertainties:
            return Counter(r.reason for r in self._readings if isinstance(r, NoReading)).most_common(1)[0][0]
        us = np.array([np.nan if r is None else r.value for r in readings])
        variance = np.array([np.nan if r is None else (r.uncertainty / 2) ** 2 for r in readings])
        found, used = most_likely(us, variance)
        return AzimuthCourse(tuple(found.tolist()), float(np.median(uncertainties)), used)


def most_likely(us: Floats, variance: Floats) -> tuple[Floats, int]:
    """The delay in each stretch, µs, and the number of readings that it is based on.

    Args:
        us: what was read; NaN where nothing was.
        variance: of each reading, µs².
    """
    constant, *wandering = (_filtered(us, variance, step**2) for step in STEPS_US)
    best = max(wandering, key=lambda f: f.log_likelihood)
    chosen = best if best.log_likelihood > constant.log_likelihood + CLEARLY else constant
    return _smoothed(chosen), chosen.used


@dataclass(frozen=True, slots=True)
class _Filtered:
    """The delay in each stretch, from it and those before it."""

    step: float
    us: Sequence[float]
    variance: Sequence[float]
    log_likelihood: float
    used: int
    """Number of readings."""


def _filtered(us: Floats, variance: Floats, step: float) -> _Filtered:
    """The forward pass, with this variance of the step."""
    now, spread, likelihood, used = 0.0, UNKNOWN_US2, 0.0, 0
    kept: list[tuple[float, float]] = []
    for read, of_reading in zip(us.tolist(), variance.tolist(), strict=True):
        spread += step
        if not math.isnan(read):
            total = spread + of_reading
            likely = -0.5 * (math.log(total) + (read - now) ** 2 / total)
            likelihood += max(STRAY, likely)
            if likely > STRAY:
                now, spread, used = now + spread / total * (read - now), spread * of_reading / total, used + 1
        kept.append((now, spread))
    return _Filtered(step, [k[0] for k in kept], [k[1] for k in kept], likelihood, used)


def _smoothed(forwards: _Filtered) -> Floats:
    """The backward pass, so that later stretches inform each one too."""
    us, variance = np.array(forwards.us), forwards.variance
    for n in range(len(us) - 2, -1, -1):
        us[n] += variance[n] / (variance[n] + forwards.step) * (us[n + 1] - us[n])
    return us
