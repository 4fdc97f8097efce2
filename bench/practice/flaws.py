"""Echoes of long wavelengths, and partial erasure by magnetised heads."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from bench.arrays import Floats
from bench.practice.filters import RATE
from bench.practice.kernels import one_pole


class Echo:
    """Long wavelengths read a distance ahead of and behind the gap.

    The edges of the head's face read them (contour effect), and so do adjacent layers on the reel (print-through).

    Args:
        distance: samples on the tape.
        gain: amplitude of each of the two echoes.
        corner_hz: frequency above which they fall off.
    """

    def __init__(self, distance: float, gain: float, corner_hz: float) -> None:
        self._distance, self._gain = distance, gain
        self._a1 = -float(np.exp(-2 * np.pi * corner_hz / RATE))
        self._state = np.zeros((2, 2))

    def run(self, read: Callable[[Floats, Floats], Floats], left: Floats, right: Floats) -> Floats:
        """The two echoes of a chunk, shape (2, n); `read` reads each track at any positions."""
        out = read(left + self._distance, right + self._distance) + read(left - self._distance, right - self._distance)
        one_pole(out, self._gain * (1 + self._a1), 0.0, self._a1, self._state)
        return out


CELL = RATE // 10
"""Length of tape, in samples, per stored value of its history: a tenth of a second."""


class PartialErasure:
    """Short wavelengths that magnetised heads have erased, as the spacing that would cause the same loss."""

    def __init__(self, length: float) -> None:
        self._um = np.zeros(int(length) // CELL + 1)

    def spacing_um(self, position: float) -> float:
        """The loss at a position (samples), as a spacing in µm."""
        return float(self._um[int(position // CELL) % self._um.size])

    def add_pass(self, before: float, after: float, um: float) -> None:
        """The tape has moved from one position to another: add `um` to each cell that it left."""
        if um > 0 and before // CELL != after // CELL:
            self._um[int(before // CELL) % self._um.size] += um

    def reset(self, first: float, last: float) -> None:
        """This stretch was recorded again: clear its partial erasure."""
        self._um[np.arange(int(first) // CELL, int(last) // CELL + 1) % self._um.size] = 0.0
