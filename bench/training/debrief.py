"""The debrief of an exercise: what was wrong, what was found, mended or hidden, and what is left against the truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Debriefed, FaultOutcome, Resumed, TrimmerOutcome, Turned
from bench.training.truth import FaultTruth, TrimmerTruth, Truth

TRIMMER_TOLERANCES: tuple[tuple[str, float], ...] = (
    ("replay level", 0.5),
    ("output control", 0.7),
    ("record level", 0.7),
    ("replay equalisation", 1.0),
    ("record equalisation", 1.5),
    ("bias", 1.0),
    ("azimuth", 2.0),
    ("speed", 0.3),
)
"""Largest error of a correct trimmer, in its own unit: what a line-up to the usual tolerances leaves.
Common practice, no source."""

MASKS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "replay equalisation",
        ("replay azimuth", "replay_azimuth", "replay_dirt", "replay_gap", "replay_t1", "replay_height", "magnetised"),
    ),
    ("replay level", ("replay_height", "replay_dirt")),
    ("record equalisation", ("record azimuth", "record_azimuth", "record_dirt", "bias", "replay equalisation")),
    ("record level", ("replay level",)),
)
"""Trimmers that can mask another error by compensating for it, and the trimmers and figures that they can mask. Common
practice, no source."""


def debrief(
    before: Truth, after: Truth, events: Sequence[Event], sets: Sequence[str], named: Sequence[str]
) -> Debriefed:
    """Compare what was done with the true state of the machine.

    Args:
        before: the machine at the start.
        after: the machine at the end.
        events: events of the session.
        sets: the trimmers that the procedure sets.
        named: the faults that the trainee named at the end.
    """
    turns = _turns(events)
    trimmers = []
    for t in after.trimmers:
        if t.name not in sets and t.name not in turns:
            continue
        right = abs(t.off) <= trimmer_tolerance(t.name)
        hides = "" if right or t.name not in turns else _masked_by(t, after)
        trimmers.append(TrimmerOutcome(t.name, t.unit, before.off(t.name), t.off, turns.get(t.name, 0), right, hides))
    faults = tuple(_fault_outcome(f, trimmers, named) for f in after.faults)
    named_unrepairable = {f.name for f in after.faults if f.present and not f.repairable and f.name in named}
    trimmers = [replace(t, allowed=t.hides in named_unrepairable) for t in trimmers]
    had = {f.name for f in before.faults}
    wrongly = tuple(n for n in named if n not in had)
    return Debriefed(faults, tuple(trimmers), wrongly, sum(turns.values()), _minutes(events))


def trimmer_tolerance(trimmer: str) -> float:
    """Largest error of a correct trimmer, in its own unit."""
    return next(limit for kind, limit in TRIMMER_TOLERANCES if kind in trimmer)


def _masked_by(turned: TrimmerTruth, after: Truth) -> str:
    """What a trimmer that was turned away from its correct position masks; "" for nothing known."""
    causes = next((c for kind, c in MASKS if turned.name.startswith(kind)), ())
    for fault in after.faults:
        loses = fault.present and not fault.trimmers and any(f.startswith(causes) for f in fault.changes)
        if loses and turned.off > 0:
            return fault.name
    for other in after.trimmers:
        off = other.name.startswith(causes) and abs(other.off) > trimmer_tolerance(other.name)
        if off and _same_side(other.name, turned.name) and _compensating_direction(other) * turned.off > 0:
            return other.name
    return ""


def _compensating_direction(other: TrimmerTruth) -> float:
    """The direction, by its sign, in which level or treble must be turned to compensate for another trimmer's error."""
    if "azimuth" in other.name:
        return 1.0  # an azimuth error loses treble in either direction
    return other.off if other.name.startswith("bias") else -other.off  # more bias is less treble


def _same_side(one: str, other: str) -> bool:
    sides = [next((s for s in ("left", "right") if name.endswith(s)), "") for name in (one, other)]
    return "" in sides or sides[0] == sides[1]


def _fault_outcome(fault: FaultTruth, trimmers: Sequence[TrimmerOutcome], named: Sequence[str]) -> FaultOutcome:
    outcome = FaultOutcome(fault.name, fault.symptom, "missed", named=fault.name in named)
    if not fault.present:
        return replace(outcome, state="mended")
    hidden_by = next((t.name for t in trimmers if t.hides and (t.hides == fault.name or t.hides in fault.trimmers)), "")
    if hidden_by and not (outcome.named and not fault.repairable):
        return replace(outcome, state="hidden", by=hidden_by)
    return replace(outcome, state="found") if outcome.named else outcome


def _turns(events: Sequence[Event]) -> dict[str, int]:
    """How often each trimmer was turned."""
    out: dict[str, int] = {}
    for turned in of_kind(events, Turned):
        out[turned.trimmer] = out.get(turned.trimmer, 0) + len(turned.degrees)
    return out


def _minutes(events: Sequence[Event]) -> float:
    """From the first event to the last, without the time between leaving and resuming."""
    seconds = 0.0
    for earlier, later in pairwise(events):
        if not isinstance(later, Resumed):
            seconds += max(0.0, (later.time - earlier.time).total_seconds())
    return seconds / 60
