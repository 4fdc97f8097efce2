"""Over-bias: past its peak the level of a tone falls as bias rises; bias is right where it has fallen by a given dB.

Which direction is more bias, and where a reading lies on the curve, follows from the treble: the level of the tone
relative to a lower tone. It falls steadily as bias rises, because shorter wavelengths lose more in the same recording
zone (common practice). So neither the sense of the trimmer nor its play need be known. The highest level counts as the
peak only when a lower level was read at less bias.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

import numpy as np

START_DB = 0.7
"""How far below the peak the level must have been at less bias. A choice."""

PASSED_DB = 0.3
"""How far the level must fall before the peak is passed: the peak is flat, and noise moves the highest reading."""

SAME_DB = 0.15
"""Readings whose treble differs by less were taken at the same bias."""

NEAR_DB = 1.2
"""The peak is the top of a parabola through all readings within this distance of the highest."""

Stage = Literal["below", "rising", "past"]


@dataclass(slots=True)
class BiasPeak:
    """The readings of one channel so far."""

    _points: list[tuple[float, float]] = field(default_factory=list)
    """(treble, level) in dB."""

    def add(self, level: float, treble: float) -> None:
        """Add a reading: the level of the tone, and its level relative to the lower tone, dB."""
        self._points.append((treble, level))

    def treble_step(self) -> float:
        """Change of treble at the last reading, dB; a rise means less bias. 0 before there are two readings."""
        return self._points[-1][0] - self._points[-2][0] if len(self._points) > 1 else 0.0

    @property
    def stage(self) -> Stage:
        """Where the bias is: `below` means that the search must still start below the peak."""
        if not self._started:
            return "below"
        top_treble, top = self._highest()
        treble, level = self._points[-1]
        return "past" if self.found and treble < top_treble - SAME_DB and level < top - PASSED_DB / 3 else "rising"

    @property
    def _started(self) -> bool:
        """Whether a lower level was read at less bias."""
        top_treble, top = self._highest() if self._points else (0.0, 0.0)
        return any(t > top_treble + SAME_DB and v < top - START_DB for t, v in self._points)

    @property
    def found(self) -> bool:
        """Whether readings lie on both sides of the peak, in whatever order they came."""
        if not self._started:
            return False
        top_treble, top = self._highest()
        return any(t < top_treble - SAME_DB and v < top - PASSED_DB for t, v in self._points)

    def treble_past(self, fall: float) -> float | None:
        """The treble at which the level has fallen by `fall` dB past the peak; None where no reading went that far."""
        top_treble, top = self._highest()[0], self.top()[0]
        past = sorted((p for p in self._points if p[0] <= top_treble), reverse=True)
        for (treble, level), (further, lower) in pairwise(past):
            if top - level <= fall <= top - lower:
                return treble + (further - treble) * (fall - top + level) / (level - lower or 1.0)
        return None

    def _highest(self) -> tuple[float, float]:
        return max(self._points, key=lambda p: p[1])

    def top(self) -> tuple[float, float]:
        """Level of the peak and its expanded uncertainty (k = 2), dB."""
        top_treble, top = self._highest()
        near = np.array([p for p in self._points if p[1] > top - NEAR_DB])
        x, y = near[:, 0] - top_treble, near[:, 1]
        if len(near) < 4 or np.ptp(x) < 2 * SAME_DB:
            return top, 0.1
        a, b, c = np.polyfit(x, y, 2)
        off = float(np.std(y - np.polyval([a, b, c], x)))
        if a >= 0:
            return top, 0.1
        vertex = float(c - b * b / (4 * a))
        # a skewed curve can push the top of the parabola above every reading
        return min(vertex, top + 0.1), max(0.05, 2.0 * off)


def past_peak(levels: list[float], trebles: list[float], aim: float) -> tuple[float, float] | None:
    """Where the level has fallen by `aim` past its peak, in a row of readings at evenly spaced bias.

    Args:
        levels: level of the tone, dB, in order of position.
        trebles: level of the tone relative to the lower tone, dB.
        aim: fall past the peak, dB.

    Returns:
        The position from 0, interpolated, and the level of the peak; None when the row does not contain both the peak
        and the fall.
    """
    order = range(len(levels)) if trebles[0] > trebles[-1] else range(len(levels) - 1, -1, -1)
    at = list(order)
    row = [levels[n] for n in at]
    peak = BiasPeak()
    for n in at:
        peak.add(levels[n], trebles[n])
    top = int(np.argmax(row))
    if top == 0 or row[0] > row[top] - PASSED_DB:
        return None
    level, _ = peak.top()
    for n in range(top, len(row) - 1):
        here, after = level - row[n], level - row[n + 1]
        if here <= aim <= after:
            share = (aim - here) / (after - here)
            return at[n] + share * (at[n + 1] - at[n]), level
    return None
