"""Proposes a turn at every gauge, from the degrees per decibel learnt from turns made on the screen.

Where the program can see trimmers, each average after a turn adds a point to the response of the trimmer. A gauge
whose activity proposes a turn keeps that one.
"""

from __future__ import annotations

from dataclasses import replace

from bench.practice.facts import TrimmerPosition
from bench.procedure.state.snapshot import Gauge, Snapshot
from bench.procedure.state.trimmer_response import TrimmerResponse

SAME_DEGREES = 0.5
"""Positions that differ by less count as the same."""
LEAST_SPREAD = 0.02
"""Smallest repeatability of a reading, as a fraction of its tolerance. A choice."""

Key = tuple[str, str, str]
"""Trimmer, quantity, channel."""


class LearnedTurns:
    """What was learnt in a job."""

    def __init__(self) -> None:
        self._step = ""
        self._responses: dict[Key, TrimmerResponse] = {}
        self._aims: dict[Key, float] = {}
        """Position that each trimmer should have, degrees."""
        self._at: dict[Key, float] = {}
        self._turned: set[Key] = set()
        """Trimmers turned since the last average, which therefore belongs to an earlier position."""

    def shown(self, snapshot: Snapshot) -> Snapshot:
        """The snapshot, with a turn proposed at each gauge where a turn helps."""
        step = snapshot.step.id if snapshot.step is not None else ""
        if step != self._step:
            self._step = step
            self._aims.clear()
            for response in self._responses.values():
                response.begin_visit()
        positions = {t.name: t for t in snapshot.trimmers}
        if not positions or not snapshot.gauges:
            return snapshot
        return replace(
            snapshot, gauges=tuple(self._proposed(g, positions.get(g.trimmer or "")) for g in snapshot.gauges)
        )

    def _proposed(self, gauge: Gauge, trimmer: TrimmerPosition | None) -> Gauge:
        if trimmer is None or gauge.turn is not None or not gauge.advice or gauge.verdict.tolerance is None:
            return gauge
        key = (trimmer.name, gauge.reading.quantity, gauge.channel)
        if abs(self._at.get(key, trimmer.degrees) - trimmer.degrees) > SAME_DEGREES:
            self._turned.add(key)
        self._at[key] = trimmer.degrees
        if gauge.advice != "turn" or gauge.measured is None:
            self._turned.discard(key)
            return gauge
        if key in self._turned:
            return gauge
        response = self._responses.setdefault(key, TrimmerResponse())
        if not response.points or abs(response.stands_at - trimmer.degrees) > SAME_DEGREES:
            spread = max(0.5 * gauge.measured.uncertainty, LEAST_SPREAD * gauge.verdict.tolerance)
            response.add(trimmer.degrees, gauge.measured.value, spread)
            here = trimmer.degrees
            turn = response.turn_to(gauge.verdict.target, low=trimmer.low - here, high=trimmer.high - here)
            self._aims[key] = here + turn
        rest = self._aims.get(key, trimmer.degrees) - trimmer.degrees
        return replace(gauge, turn=rest) if abs(rest) > SAME_DEGREES else gauge
