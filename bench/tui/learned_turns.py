"""Degrees for each decibel, learnt from the turns made on the screen: how far to turn is proposed at every gauge.

Where the trimmers are seen, each average after a turn is one more point of the trimmer's response. A gauge whose
activity proposes a turn of its own keeps that.
"""

from __future__ import annotations

from dataclasses import replace

from bench.practice.facts import TrimmerPosition
from bench.procedure.state.snapshot import Gauge, Snapshot
from bench.procedure.state.trimmer_response import TrimmerResponse

SAME_DEGREES = 0.5
"""Positions that differ by less are one."""
LEAST_SPREAD = 0.02
"""Repeatability of a reading, in parts of its tolerance, where its uncertainty is less. A choice."""

Key = tuple[str, str, str]
"""Trimmer, quantity, channel."""


class LearnedTurns:
    """What was learnt in a job."""

    def __init__(self) -> None:
        self._step = ""
        self._responses: dict[Key, TrimmerResponse] = {}
        self._aims: dict[Key, float] = {}
        """Where each trimmer should stand, degrees."""
        self._at: dict[Key, float] = {}
        self._turned: set[Key] = set()
        """Turned since the last average, which therefore belongs to another position."""

    def shown(self, snapshot: Snapshot) -> Snapshot:
        """The snapshot, with a turn proposed at each gauge that a turn helps."""
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
