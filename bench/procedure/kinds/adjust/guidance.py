"""What a person is told while a trimmer is turned: which way, how far to go, whether it is still."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Literal

from bench.measure.reading import Result
from bench.measure.verdict import Verdict, off_target
from bench.words.figures import live_decimals

TREND_S = 0.6
"""The trend is told from what the reading did in this time."""

MIDDLE = 0.1
"""The part of the tolerance within which nothing is left to do."""

CLOSE = 2.0
"""Tolerances from the target at which to go slowly."""

Trend = Literal["", "rising", "falling", "steady"]


@dataclass(slots=True)
class TurnGuide:
    """Watches one reading and learns from it which way is right: the way in which it came nearer."""

    _rest: float | None = None
    """How far off it was when it last stood still."""
    _wrong_way: bool = False
    """Whether its last move was away from the target."""

    def tell(self, reading: Result, verdict: Verdict, trend: Trend) -> str:
        """What to do now, in few words: which way, and how far in the unit of the reading."""
        off, tolerance = off_target(reading, verdict), verdict.tolerance
        if off is None or tolerance is None:
            return ""
        unit = reading.unit.removesuffix("FS")
        to_go = f"{'lower' if off > 0 else 'raise'} by {abs(off):.{live_decimals(unit, tolerance)}f} {unit}"
        if trend == "steady":
            if self._rest is not None and abs(abs(off) - abs(self._rest)) > MIDDLE * tolerance:
                self._wrong_way = abs(off) > abs(self._rest) and off * self._rest > 0
            self._rest = off
        elif trend and self._rest is not None and abs(off - self._rest) > MIDDLE * tolerance:
            self._wrong_way = (trend == "rising") == (off > 0)
        if abs(off) < MIDDLE * tolerance:
            return "hold"
        if self._wrong_way:
            return "turn the other way" if trend != "steady" else f"the other way: {to_go}"
        if trend in ("rising", "falling") and self._rest is not None and abs(off) < CLOSE * tolerance:
            return f"slowly: {to_go}"
        return to_go


@dataclass(slots=True)
class RecentReadings:
    """The last minute of a reading, and whether it moves."""

    keep_s: float = 60.0
    points: deque[tuple[float, float]] = field(default_factory=deque)

    def add(self, now: float, value: float) -> None:
        """A value at a time, seconds."""
        self.points.append((now, value))
        while self.points and self.points[0][0] < now - self.keep_s:
            self.points.popleft()

    def trend(self, now: float, still: float) -> Trend:
        """What it did in the last moments.

        Args:
            now: seconds.
            still: what it may move by and still count as steady.
        """
        recent = [v for t, v in self.points if t >= now - TREND_S]
        if len(recent) < 4:
            return ""
        half = len(recent) // 2
        moved = sum(recent[-half:]) / half - sum(recent[:half]) / half
        if abs(moved) <= still:
            return "steady"
        return "rising" if moved > 0 else "falling"
