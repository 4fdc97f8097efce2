"""Guidance while a trimmer is turned: which way, how far, and whether the reading is steady."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from typing import Literal

from bench.measure.reading import Result
from bench.measure.verdict import Verdict, off_target
from bench.procedure.kinds.adjust.running_average import RunningAverage
from bench.procedure.state.snapshot import Gauge
from bench.words.figures import live_decimals

TREND_S = 0.6
"""The trend is taken over this much of the latest readings."""

MIDDLE = 0.4
"""Fraction of `left_alone` within which the reading counts as on target."""

CLOSE = 2.0
"""Distance from the target, in tolerances, within which the person should turn slowly."""

GOOD_ENOUGH = 0.25
"""Fraction of the tolerance within which an average is left alone. A choice."""

SET_TO_DB = 1.0
"""A trimmer is set as if the tolerance were no wider than this, plus or minus. A choice."""

SURE_TO_DB = 0.5
"""A reading that is in is looked at until it is surely within this, so that the treble of replay, which becomes that
of every recording, is not left to one short look. A choice."""

Trend = Literal["", "rising", "falling", "steady"]
Advice = Literal["turn", "look", "hold"]


def setting_tolerance(tolerance: float, unit: str) -> float:
    """The tolerance to which a trimmer is set, in the unit of the reading.

    A tolerance of ±3 dB is what can be accepted, not how closely a trimmer can be set. An error of replay treble
    becomes an error of every recording, because replay is the ruler for it.

    Args:
        tolerance: plus or minus, in the unit.
        unit: unit of the reading.
    """
    return min(tolerance, SET_TO_DB) if unit.startswith("dB") else tolerance


def left_alone(tolerance: float, unit: str) -> float:
    """Error at which a reading is left alone; arguments as for `setting_tolerance`."""
    return GOOD_ENOUGH * setting_tolerance(tolerance, unit)


def advised(gauge: Gauge, average: RunningAverage, now: float, apart: float = 0.0) -> tuple[Advice, float]:
    """What to do next, and how much longer to look, seconds.

    A turn is advised when the average is farther from the target than its uncertainty. It is also advised when a
    reading is not in and cannot become so however long one looks, because the middle is still more likely to be right;
    where it wanders by more than the tolerance, only from a standard uncertainty off, or turns would follow the wander.
    A reading that is in within a wide tolerance is looked at until it is known as closely as it can be set.

    Args:
        gauge: the average with its verdict.
        average: the running average behind the gauge.
        now: the time, seconds.
        apart: expanded uncertainty of the average that longer looking does not reduce, but that changes from day to
            day.
    """
    off, tolerance, reading = gauge.off, gauge.verdict.tolerance, gauge.measured
    if gauge.turn is not None:
        return "turn", 0.0
    if off is None or tolerance is None or reading is None:
        return "look", 0.0
    accepted, setting = gauge.verdict.word == "in", setting_tolerance(tolerance, reading.unit)
    sure = min(setting, SURE_TO_DB) if reading.unit.startswith("dB") else setting
    close, wander = GOOD_ENOUGH * setting, math.hypot(average.uncertainty, apart)
    if abs(off) > max(close, wander):
        return "turn", 0.0
    if accepted and abs(off) + wander <= sure:
        return "hold", 0.0
    room = max(0.0, (sure if accepted else tolerance) - abs(off))
    fixed = 0.0 if accepted else max(0.0, reading.uncertainty**2 - average.uncertainty**2)
    look_s = average.look_s(now, math.sqrt(max(close**2, room**2 - fixed)))
    if look_s > 0:
        return "look", look_s
    least = 0.5 * wander if wander > tolerance else close
    return ("turn", 0.0) if abs(off) > least and not accepted else ("hold", 0.0)


def near_its_limit(gauge: Gauge) -> bool:
    """Whether a reading that is in uses more than half of its tolerance, so that a small drift would put it out."""
    off, tolerance = gauge.off, gauge.verdict.tolerance
    return off is not None and tolerance is not None and abs(off) > 0.5 * tolerance


def wanders_too_much(gauge: Gauge) -> bool:
    """Whether a reading wanders by more than its tolerance, which no turn can change."""
    return gauge.verdict.word != "in" and gauge.band > (gauge.verdict.tolerance or math.inf)


@dataclass(slots=True)
class TurnGuide:
    """Follows one reading, and learns which way to turn: the direction that brought it nearer to the target."""

    _rest: float | None = None
    """Distance from the target when the reading last settled at another value; small turns add up from there."""
    _turned: bool = False
    """Whether the trimmer was turned: before that, a reading that moves wanders."""
    _wrong_way: bool = False
    """Whether the last turn moved the reading away from the target."""

    def turned(self) -> None:
        """Note a turn of the trimmer."""
        self._turned = True

    def direction(self, reading: Result, verdict: Verdict, trend: Trend) -> str:
        """What to do now: which way, and how far in the unit of the reading."""
        off, tolerance = off_target(reading, verdict), verdict.tolerance
        if off is None or tolerance is None:
            return ""
        middle = MIDDLE * left_alone(tolerance, reading.unit)
        unit = reading.unit.removesuffix("FS")
        to_go = f"{'lower' if off > 0 else 'raise'} by {abs(off):.{live_decimals(unit, tolerance)}f} {unit}"
        if trend == "steady":
            if self._rest is None or abs(off - self._rest) > middle:
                self._wrong_way = self._rest is not None and off * self._rest > 0 and abs(off) > abs(self._rest)
                self._rest = off
        elif trend and self._rest is not None and abs(off - self._rest) > middle:
            self._wrong_way = (trend == "rising") == (off > 0)
        if abs(off) < middle:
            return "hold"
        wrong_way = self._turned and self._wrong_way
        if wrong_way and trend != "steady":
            return "turn the other way"
        if wrong_way and verdict.word != "in":
            return f"the other way: {to_go}"
        if trend in ("rising", "falling") and self._rest is not None and abs(off) < CLOSE * tolerance:
            return f"slowly: {to_go}"
        return to_go


@dataclass(slots=True)
class RecentReadings:
    """The readings of the last minute, and their trend."""

    keep_s: float = 60.0
    points: deque[tuple[float, float]] = field(default_factory=deque)

    def add(self, now: float, value: float) -> None:
        """Add a value read at a time, in seconds."""
        self.points.append((now, value))
        while self.points and self.points[0][0] < now - self.keep_s:
            self.points.popleft()

    def trend(self, now: float, still: float) -> Trend:
        """The trend at a time.

        Args:
            now: the time, seconds.
            still: largest change that counts as steady.
        """
        recent = [v for t, v in self.points if t >= now - TREND_S]
        if len(recent) < 4:
            return ""
        half = len(recent) // 2
        moved = sum(recent[-half:]) / half - sum(recent[:half]) / half
        if abs(moved) <= still:
            return "steady"
        return "rising" if moved > 0 else "falling"
