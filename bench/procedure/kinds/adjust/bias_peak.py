"""Over-bias: a tone's level rises with bias to a peak and falls past it; bias is right where it has fallen by so much.

Which way is more bias, and where a reading stands on the curve, is told by the treble beside a lower tone, which falls
all the way as bias rises: shorter wavelengths lose more in the same recording zone (common practice). So nothing need
be known of the trimmer, its sense or its play. The peak counts once the level was lower on its side of less bias, for
only then is it known to be one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

START_DB = 0.7
"""The level must have been so far below the peak on the side of less bias: well below it, where the tape begins."""

PASSED_DB = 0.3
"""The peak is passed when the level has fallen by so much: it is flat, and noise moves the highest reading."""

SAME_DB = 0.15
"""Readings whose treble differs by less stand at the same bias."""

NEAR_DB = 1.2
"""The peak is the top of a parabola through the readings within so much of the highest."""

Stage = Literal["below", "rising", "past"]


@dataclass(slots=True)
class BiasPeak:
    """What was read of one channel so far."""

    _points: list[tuple[float, float]] = field(default_factory=list)
    """(treble, level) in dB."""

    def add(self, level: float, treble: float) -> None:
        """A reading: the tone's level, and its treble beside the lower tone, dB."""
        self._points.append((treble, level))

    def treble_step(self) -> float:
        """By how much treble rose from the last reading but one, dB: less bias; 0 before there are two."""
        return self._points[-1][0] - self._points[-2][0] if len(self._points) > 1 else 0.0

    @property
    def stage(self) -> Stage:
        """What comes next: come down to start below the peak, raise past the peak, or stand past it."""
        if not self._points:
            return "below"
        top_treble, top = self._highest()
        started = any(t > top_treble + SAME_DB and v < top - START_DB for t, v in self._points)
        if not started:
            return "below"
        treble, level = self._points[-1]
        passed = any(t < top_treble - SAME_DB and v < top - PASSED_DB for t, v in self._points)
        return "past" if passed and treble < top_treble - SAME_DB and level < top - PASSED_DB / 3 else "rising"

    def _highest(self) -> tuple[float, float]:
        return max(self._points, key=lambda p: p[1])

    def top(self) -> tuple[float, float]:
        """The peak's level and its expanded uncertainty, dB."""
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
        # A bent curve can carry the parabola past what was ever read.
        return min(vertex, top + 0.1), max(0.05, 2.0 * off)


def past_peak(levels: list[float], trebles: list[float], aim: float) -> tuple[float, float] | None:
    """Of a row of readings with evenly changing bias, where the level has fallen by `aim` past its peak.

    Args:
        levels: of the tone, dB, in the order of the positions.
        trebles: of the tone beside the lower one, dB.
        aim: how far it should fall, dB.

    Returns:
        The position (counted from 0, between two of them as a fraction) and the peak's level; None when the row does
        not hold the peak and the fall.
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
