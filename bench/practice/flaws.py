"""What a tape passes on beside its recording: dropouts, echoes of places nearby, what passes over magnetism took."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from bench.practice.filters import RATE
from bench.practice.kernels import one_pole

Floats = NDArray[np.float64]

_EDGE = 0.002 * RATE


class Dropouts:
    """Short losses of contact, at places that stay the same: of the tape, or of time for a fault of the machine."""

    def __init__(self, per_minute: float, seed: int) -> None:
        self._rate, self._seed = per_minute, seed
        self._minutes: dict[int, Floats] = {}

    def _minute(self, minute: int) -> Floats:
        """Rows of start, end (samples), share of each channel's amplitude that is lost."""
        if minute not in self._minutes:
            rng = np.random.default_rng([self._seed, minute])
            count = rng.poisson(self._rate)
            start = (minute + rng.uniform(0, 1, count)) * 60 * RATE
            length = rng.uniform(0.008, 0.06, count) * RATE
            lost = 1 - 10 ** (-rng.uniform(8, 26, count) / 20)
            one_side = rng.uniform(0, 1, count)
            left, right = lost * np.minimum(1, 2 * one_side), lost * np.minimum(1, 2 - 2 * one_side)
            self._minutes[minute] = np.stack((start, start + length, left, right), axis=1)
        return self._minutes[minute]

    def gain(self, places: Floats) -> Floats | None:
        """What is left at these places (samples, rising), shape (2, n); None where nothing is lost."""
        if self._rate <= 0 or places[0] < 0:
            return None
        gain = None
        for minute in {int(places[0] / (60 * RATE)), int(places[-1] / (60 * RATE))}:
            for start, end, left, right in self._minute(minute):
                if places[0] < end and places[-1] > start:
                    depth = np.clip(np.minimum(places - start, end - places) / _EDGE, 0, 1)
                    gain = np.ones((2, places.size)) if gain is None else gain
                    gain *= 1 - np.array([[left], [right]]) * (0.5 - 0.5 * np.cos(np.pi * depth))
        return gain


class Echo:
    """Long wavelengths heard a distance before and behind the gap: the head's edges, or the layers next on the reel.

    Args:
        distance: samples on the tape.
        gain: amplitude of each of the two.
        corner_hz: above it they fade.
    """

    def __init__(self, distance: float, gain: float, corner_hz: float) -> None:
        self._distance, self._gain = distance, gain
        self._a1 = -float(np.exp(-2 * np.pi * corner_hz / RATE))
        self._state = np.zeros((2, 2))

    def run(self, read: Callable[[Floats, Floats], Floats], left: Floats, right: Floats) -> Floats:
        """The two echoes of a chunk, from what reads the tape at any place, shape (2, n)."""
        out = read(left + self._distance, right + self._distance) + read(left - self._distance, right - self._distance)
        one_pole(out, self._gain * (1 + self._a1), 0.0, self._a1, self._state)
        return out


CELL = RATE // 10
"""A tape remembers what was done to it by tenths of a second."""


class Wear:
    """Short wavelengths that a tape has lost by passing magnetised heads, as the spacing that would lose as much."""

    def __init__(self, length: float) -> None:
        self._um = np.zeros(int(length) // CELL + 1)

    def at(self, place: float) -> float:
        """At a place (samples), µm."""
        return float(self._um[int(place // CELL) % self._um.size])

    def pass_by(self, before: float, after: float, um: float) -> None:
        """The tape has moved from one place to the next beyond it; each cell left behind has lost so much more."""
        if um > 0 and before // CELL != after // CELL:
            self._um[int(before // CELL) % self._um.size] += um

    def renew(self, first: float, last: float) -> None:
        """Here it is recorded afresh."""
        self._um[np.arange(int(first) // CELL, int(last) // CELL + 1) % self._um.size] = 0.0
