"""Response of a reading to a trimmer: direction, change per degree, and the turn lost to play when the sense changes.

Turns, and steady readings after them, are known. The model is a straight line with play: the wiper follows the screw,
but lags by up to half the play either way. Two or three readings do not determine slope, play and first position of
the wiper, so a grid of all three is kept, weighted by how well each point fits the readings (Bayes' rule). The proposed
turn is the weighted mean. Common practice, no source: the play of a trimmer is a few degrees, and its law is straight
near the target.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import AtRest, Learnt

FIRST_TURN = 15.0
"""First turn, degrees: large enough to show above play and noise, small enough to do no harm. A choice."""

LARGEST_TURN = 90.0
BENT = 0.06
"""Allowed deviation from the line, as a fraction of the distance from the aim: laws are straight only near it."""

PLAYS = np.arange(0.0, 10.5, 1.0)
USUAL_PLAY, PLAY_SPREAD = 4.5, 3.0
PLACES = np.linspace(-1.0, 1.0, 5)
"""First position of the wiper within its play, in halves of the play."""


@dataclass(slots=True)
class TrimmerResponse:
    """What was learnt about one trimmer and one reading. Degrees count clockwise from the first position."""

    _degrees: list[float] = field(default_factory=list)
    _read: list[float] = field(default_factory=list)
    _spread: list[float] = field(default_factory=list)
    _group: list[int] = field(default_factory=list)
    _new_group: int = 0

    @property
    def points(self) -> tuple[tuple[float, float], ...]:
        """Degrees and readings of this step, in order of time."""
        here = zip(self._degrees, self._read, self._group, strict=True)
        return tuple((d, r) for d, r, g in here if g == self._new_group)

    @property
    def stands_at(self) -> float:
        """Position at the last reading, degrees; 0 before the first."""
        return self._degrees[-1] if self._degrees else 0.0

    @property
    def readings(self) -> tuple[AtRest, ...]:
        """All readings, as `of` takes them."""
        rows = zip(self._degrees, self._read, self._spread, self._group, strict=True)
        return tuple(AtRest(float(d), float(r), float(s), g) for d, r, s, g in rows)

    @classmethod
    def of(cls, readings: Iterable[AtRest]) -> TrimmerResponse:
        """The response from these readings."""
        out = cls()
        for at in readings:
            out._new_group = at.visit
            out.add(at.degrees, at.reading, at.spread)
        return out

    @classmethod
    def recalled(cls, events: Iterable[Event], trimmer: str, quantity: str, frequency_hz: float) -> TrimmerResponse:
        """The response that earlier steps learnt, in this run or before it was interrupted."""
        kept = [
            e.readings
            for e in of_kind(events, Learnt)
            if (e.trimmer, e.quantity, e.frequency_hz) == (trimmer, quantity, frequency_hz)
        ]
        return cls.of(kept[-1]) if kept else cls()

    def begin_visit(self) -> None:
        """Begin another step: the slope still holds, but other adjustments have changed the reading."""
        if self.points:
            self._new_group += 1

    def add(self, degrees: float, reading: float, spread: float) -> None:
        """Add a steady reading.

        Args:
            degrees: position of the trimmer, clockwise from the first position.
            reading: in any unit.
            spread: repeatability of the reading, same unit.
        """
        self._degrees.append(degrees)
        self._read.append(reading)
        self._spread.append(max(spread, 1e-9))
        self._group.append(self._new_group)

    def turn_to(self, aim: float, *, low: float = -math.inf, high: float = math.inf) -> float:
        """The turn that brings the reading to an aim, degrees clockwise.

        Args:
            aim: what the reading should be.
            low: distance of the anticlockwise stop, degrees (0 or less).
            high: distance of the clockwise stop, degrees.

        Returns:
            At first an exploratory turn, doubled when the last one changed nothing.
        """
        if not self.points:
            return 0.0
        slope, turn = self._solve(aim)
        if slope is None:
            turn = self._searching()
            if not low <= turn <= high:
                turn = -turn
        turn = max(-LARGEST_TURN, min(LARGEST_TURN, turn))
        return max(low, min(high, turn))

    def _searching(self) -> float:
        """An exploratory turn: in the same direction as the last, and further."""
        here = [d for d, _ in self.points]
        if len(here) < 2:
            return FIRST_TURN
        way = 1.0 if here[-1] >= here[-2] else -1.0
        return way * max(FIRST_TURN, 2.0 * abs(here[-1] - here[-2]))

    def _solve(self, aim: float) -> tuple[float | None, float]:
        """Slope and turn to the aim, as weighted means over the grid."""
        degrees, read = np.array(self._degrees), np.array(self._read)
        group = np.array(self._group)
        if len(read) < 2 or not self._stands_out(degrees, read, group):
            return None, 0.0
        spread = np.hypot(np.array(self._spread), BENT * np.abs(read - aim))
        found = []
        for play in PLAYS:
            for place in PLACES if play else PLACES[2:3]:
                wiper = _wiper(degrees, play, 0.5 * place * play)
                fitted = _fit(wiper, read, spread, group)
                if fitted is None:
                    continue
                slope, here, cost = fitted
                to_go = (aim - here) / slope
                lead = wiper[-1] - degrees[-1]
                lost = 0.5 * play - lead if to_go < 0 else 0.5 * play + lead
                # the wiper lags by half the play; the turn from it to the edge that will push it is lost
                turn = to_go + math.copysign(lost, to_go)
                found.append((cost + ((play - USUAL_PLAY) / PLAY_SPREAD) ** 2, slope, turn))
        if not found:
            return None, 0.0
        costs = np.array([f[0] for f in found])
        weight = np.exp(-0.5 * (costs - costs.min()))
        weight /= weight.sum()
        slope = float(weight @ [f[1] for f in found])
        if abs(read[-1] - aim) < 1e-12:
            return slope, 0.0
        return slope, float(weight @ [f[2] for f in found])

    def _stands_out(self, degrees: Floats, read: Floats, group: NDArray[np.int64]) -> bool:
        """Whether the readings changed by more than their repeatability."""
        for g in set(group.tolist()):
            here = group == g
            if np.ptp(degrees[here]) > 0 and np.ptp(read[here]) > 3.0 * max(np.array(self._spread)[here]):
                return True
        return False


def _wiper(degrees: Floats, play: float, first: float) -> Floats:
    """Positions of the wiper behind some play, `first` ahead of the screw at the start."""
    out = np.empty_like(degrees)
    at = degrees[0] + first
    for n, d in enumerate(degrees):
        at = min(d + 0.5 * play, max(d - 0.5 * play, at))
        out[n] = at
    return out


def _fit(wiper: Floats, read: Floats, spread: Floats, group: NDArray[np.int64]) -> tuple[float, float, float] | None:
    """Least squares with one slope, and an offset for each step.

    Returns:
        Slope, present reading by the line, and cost; None when nothing moved.
    """
    weight = 1.0 / spread**2
    x, y = wiper.copy(), read.copy()
    level = 0.0
    for g in set(group.tolist()):
        here = group == g
        x[here] -= np.average(wiper[here], weights=weight[here])
        mean = float(np.average(read[here], weights=weight[here]))
        y[here] -= mean
        level = mean if g == group[-1] else level
    bottom = float(weight @ x**2)
    if bottom < 1e-9:
        return None
    slope = float(weight @ (x * y)) / bottom
    if slope == 0.0:
        return None
    return slope, level + slope * float(x[-1]), float(weight @ (y - slope * x) ** 2)
