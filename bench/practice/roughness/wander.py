"""Slow random courses, with one value at the end of each chunk: sums of first-order processes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bench.arrays import Floats
from bench.practice.filters import CHUNK, RATE
from bench.practice.kernels import first_order_sum

AT_ONCE = 50
"""Chunks that are computed per call: the call costs more than the numbers."""


def pink_corners(low_hz: float, high_hz: float) -> tuple[float, ...]:
    """Corner frequencies of processes of equal power whose sum has a spectrum of about 1/f between these limits."""
    count = max(2, 1 + round(np.log(high_hz / low_hz) / np.log(3.0)))
    return tuple(float(hz) for hz in np.geomspace(low_hz, high_hz, count))


def band_share(corner_hz: float, low_hz: float, high_hz: float) -> float:
    """Fraction of the power of a first-order process between two frequencies."""
    return float(2 / np.pi * (np.arctan(high_hz / corner_hz) - np.arctan(low_hz / corner_hz)))


class Wander:
    """Random courses of unit variance that may have a common component.

    Args:
        corners_hz: corner frequencies of the processes of equal power that add up to a course.
        courses: number of courses.
        seed: random seed.
        common: fraction of the power that is common to all courses.
    """

    def __init__(self, corners_hz: Sequence[float], courses: int, seed: Sequence[int], *, common: float = 0.0) -> None:
        self._rng = np.random.Generator(np.random.SFC64(list(seed)))
        self._keep = np.exp(-2 * np.pi * np.asarray(corners_hz) * CHUNK / RATE)
        self._own, self._common = np.sqrt((1 - common) / len(corners_hz)), np.sqrt(common / len(corners_hz))
        self._state = self._rng.standard_normal((courses + 1, len(corners_hz)))
        self._equal = np.ones(len(corners_hz))
        self._ahead: list[Floats] = []
        """Values at the ends of the next chunks, the latest first."""
        self.before = self.now = self._mixed(np.add.reduce(self._state, axis=1))
        """Values at the start and at the end of the present chunk, one for each course."""

    def _mixed(self, sums: Floats) -> Floats:
        return np.asarray(self._own * sums[..., :-1] + self._common * sums[..., -1:])

    def advance(self) -> None:
        """Advance by one chunk."""
        if not self._ahead:
            white = self._rng.standard_normal((AT_ONCE, *self._state.shape))
            sums = np.empty((len(self._state), AT_ONCE))
            for n, (state, out) in enumerate(zip(self._state, sums, strict=True)):
                first_order_sum(np.ascontiguousarray(white[:, n]), self._keep, self._equal, state, out)
            self._ahead = list(self._mixed(sums.T))[::-1]
        self.before, self.now = self.now, self._ahead.pop()
