"""Which readings still hold: an as-left reading counts only if nothing on which it depends was turned afterwards."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from datetime import datetime
from typing import Protocol

from bench.procedure.state.dependencies import (
    lot_of_trimmer,
    moved_by_reading,
    moved_by_trimmer,
    shown_by_reading,
)
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Turned
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.outcome import last_attempts


class StepKind(Protocol):
    """The properties of a step that are needed here."""

    @property
    def kind(self) -> str:
        """Its kind."""

    @property
    def sets_bias(self) -> bool:
        """Whether bias is set at it."""


Turn = tuple[datetime, str, frozenset[str], str]
"""Time, step, names of the aspects that it moved, and which of several tapes it affects; "" for all."""


def valid_readings(
    readings: Sequence[ReadingRecord], events: Sequence[Event], steps: Mapping[str, StepKind], *, sees_turns: bool
) -> tuple[ReadingRecord, ...]:
    """The readings of the last attempts, without as-left readings taken before a turn that moved them.

    Args:
        readings: all readings, oldest first.
        events: all events, oldest first.
        steps: steps of the job, by id.
        sees_turns: whether turns are among the events; otherwise every adjusting step counts as a turn.
    """
    latest = last_attempts(tuple(readings))
    lots = {r.lot for r in latest} - {""}
    turns = [*_seen(events, lots)] if sees_turns else [*_presumed(latest, steps)]
    return tuple(r for r in latest if r.stage != "left" or not _moved_since(r, turns, steps))


def _seen(events: Sequence[Event], lots: AbstractSet[str]) -> Iterator[Turn]:
    for turned in of_kind(events, Turned):
        if any(turned.degrees):
            own = lot_of_trimmer(turned.trimmer, lots)
            yield turned.time, turned.step, moved_by_trimmer(turned.trimmer), own


def _presumed(latest: Sequence[ReadingRecord], steps: Mapping[str, StepKind]) -> Iterator[Turn]:
    for r in latest:
        step = steps.get(r.step)
        if step is not None and step.kind == "adjust":
            yield r.time, r.step, moved_by_reading(r, sets_bias=step.sets_bias), r.lot


def _moved_since(r: ReadingRecord, turns: Sequence[Turn], steps: Mapping[str, StepKind]) -> bool:
    step = steps.get(r.step)
    shown = shown_by_reading(r, sets_bias=step is not None and step.kind == "adjust" and step.sets_bias)
    return any(
        shown in moved and time > r.time and at != r.step and own in ("", r.lot) for time, at, moved, own in turns
    )
