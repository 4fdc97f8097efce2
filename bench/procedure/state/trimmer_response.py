"""How a reading answers to a trimmer: which way, how much for a degree, and how much is lost when the sense changes.

What is known are turns and the readings at rest after them. The model is a straight line behind play: the wiper
follows the screw, but lags by up to half the play either way. Slope, play and where in it the wiper stood at first are
not told apart by two or three readings, so all of them are kept, each weighted by how well it suits what was read
(Bayes' rule on a grid), and the proposed turn is their weighted mean. Common practice, no source, that a trimmer's
play is a few degrees and its law straight near the target.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import AtRest, Learnt

Floats = NDArray[np.float64]

FIRST_TURN = 15.0
"""Degrees: enough to be seen above play and noise, small enough not to run away."""

LARGEST_TURN = 90.0
BENT = 0.06
"""The part of its distance from the aim that the line may miss a reading by: laws are straight only near by."""

PLAYS = np.arange(0.0, 10.5, 1.0)
USUAL_PLAY, PLAY_SPREAD = 4.5, 3.0
PLACES = np.linspace(-1.0, 1.0, 5)
"""Where in its play the wiper stood at first, in halves of it."""


@dataclass(slots=True)
class TrimmerResponse:
    """What was learnt of one trimmer and one reading. Degrees are counted from where the trimmer was met, clockwise."""

    _degrees: list[float] = field(default_factory=list)
    _read: list[float] = field(default_factory=list)
    _spread: list[float] = field(default_factory=list)
    _group: list[int] = field(default_factory=list)
    _new_group: int = 0

    @property
    def points(self) -> tuple[tuple[float, float], ...]:
        """Degrees and reading of this visit, in the order in which they were taken."""
        here = zip(self._degrees, self._read, self._group, strict=True)
        return tuple((d, r) for d, r, g in here if g == self._new_group)

    @property
    def stands_at(self) -> float:
        """Degrees at which the last reading was taken; 0 before the first."""
        return self._degrees[-1] if self._degrees else 0.0

    @property
    def readings(self) -> tuple[AtRest, ...]:
        """All of them, for `of`."""
        rows = zip(self._degrees, self._read, self._spread, self._group, strict=True)
        return tuple(AtRest(float(d), float(r), float(s), g) for d, r, s, g in rows)

    @classmethod
    def of(cls, readings: Iterable[AtRest]) -> TrimmerResponse:
        """What was learnt before a break."""
        out = cls()
        for at in readings:
            out._new_group = at.visit
            out.add(at.degrees, at.reading, at.spread)
        return out

    @classmethod
    def recalled(cls, events: Iterable[Event], trimmer: str, quantity: str, frequency_hz: float) -> TrimmerResponse:
        """What was learnt at earlier steps, of this run or of one that broke off."""
        kept = [
            e.readings
            for e in of_kind(events, Learnt)
            if (e.trimmer, e.quantity, e.frequency_hz) == (trimmer, quantity, frequency_hz)
        ]
        return cls.of(kept[-1]) if kept else cls()

    def begin_visit(self) -> None:
        """Something else was adjusted meanwhile: the slope still holds, the reading itself does not."""
        if self.points:
            self._new_group += 1

    def add(self, degrees: float, reading: float, spread: float) -> None:
        """A reading at rest.

        Args:
            degrees: where the trimmer stands, clockwise from where it was met.
            reading: in any unit.
            spread: what the reading may be off by itself from one time to the next, same unit.
        """
        self._degrees.append(degrees)
        self._read.append(reading)
        self._spread.append(max(spread, 1e-9))
        self._group.append(self._new_group)

    def turn_to(self, aim: float, *, low: float = -math.inf, high: float = math.inf) -> float:
        """How far to turn now so that the reading comes to the aim, degrees clockwise.

        Args:
            aim: what the reading should be.
            low: the stop anticlockwise, degrees from here (0 or less).
            high: the stop clockwise, degrees from here.

        Returns:
            At first a turn to learn from; twice as far when the last one changed nothing.
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
        """A turn to learn from: on the way that was begun, and farther than before."""
        here = [d for d, _ in self.points]
        if len(here) < 2:
            return FIRST_TURN
        way = 1.0 if here[-1] >= here[-2] else -1.0
        return way * max(FIRST_TURN, 2.0 * abs(here[-1] - here[-2]))

    def _solve(self, aim: float) -> tuple[float | None, float]:
        """The slope and the turn to the aim, means over all that suits what was read."""
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
                # The wiper lags by half the play; what is between it and the edge that will push it is lost.
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
        """Whether the readings moved by more than they would by themselves."""
        for g in set(group.tolist()):
            here = group == g
            if np.ptp(degrees[here]) > 0 and np.ptp(read[here]) > 3.0 * max(np.array(self._spread)[here]):
                return True
        return False


def _wiper(degrees: Floats, play: float, first: float) -> Floats:
    """Where the wiper stands, behind so much play, `first` ahead of the screw at the start."""
    out = np.empty_like(degrees)
    at = degrees[0] + first
    for n, d in enumerate(degrees):
        at = min(d + 0.5 * play, max(d - 0.5 * play, at))
        out[n] = at
    return out


def _fit(wiper: Floats, read: Floats, spread: Floats, group: NDArray[np.int64]) -> tuple[float, float, float] | None:
    """Least squares with one slope and a level of its own for each visit.

    Returns:
        The slope, where the reading stands now, and the cost; None when nothing moved.
    """
    weight = 1.0 / spread**2
    x, y = wiper.copy(), read.copy()
    for g in set(group.tolist()):
        here = group == g
        x[here] -= np.average(wiper[here], weights=weight[here])
        y[here] -= np.average(read[here], weights=weight[here])
    bottom = float(weight @ x**2)
    if bottom < 1e-9:
        return None
    slope = float(weight @ (x * y)) / bottom
    if slope == 0.0:
        return None
    return slope, float(read[-1]), float(weight @ (y - slope * x) ** 2)
