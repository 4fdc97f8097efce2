"""The debrief of an exercise: what was wrong, what was found, mended or hidden, and what is left against the truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from bench.procedure.state.journal import Event, turns_in
from bench.training.truth import FaultTruth, TrimmerTruth, Truth

RIGHT_WITHIN: tuple[tuple[str, float], ...] = (
    ("replay level", 0.5),
    ("record level", 0.7),
    ("replay equalisation", 1.0),
    ("record equalisation", 1.5),
    ("bias", 1.0),
    ("azimuth", 2.0),
    ("speed", 0.3),
)
"""How near right a trimmer has to stand, in its own unit: what line-up to the usual tolerances leaves.
Common practice, no source."""

HIDES: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "replay equalisation",
        ("replay azimuth", "replay_azimuth", "replay_dirt", "replay_gap", "replay_t1", "replay_height", "magnetised"),
    ),
    ("replay level", ("replay_height", "replay_dirt")),
    ("record equalisation", ("record azimuth", "record_azimuth", "record_dirt", "bias", "replay equalisation")),
    ("record level", ("replay level",)),
)
"""A trimmer that can make good what another thing costs, and the trimmers and figures it can hide. Common practice,
no source."""

State = Literal["mended", "hidden", "found", "missed"]


@dataclass(frozen=True, slots=True)
class FaultTold:
    """What became of a fault."""

    fault: FaultTruth
    """As it is at the end."""
    state: State
    """`found`: named, though it stands; `missed`: neither named nor mended."""
    named: bool
    by: str = ""
    """The trimmer that hides it."""


@dataclass(frozen=True, slots=True)
class TrimmerTold:
    """What became of a trimmer."""

    trimmer: TrimmerTruth
    """As it stands at the end."""
    before: float
    """How far from right it stood."""
    turns: int
    right: bool
    hides: str = ""
    """What it makes good that is wrong elsewhere."""
    allowed: bool = False
    """It makes good what only the workshop can mend, and the trainee named that."""


@dataclass(frozen=True, slots=True)
class Debrief:
    """All that the trainee is told at the end."""

    faults: tuple[FaultTold, ...]
    trimmers: tuple[TrimmerTold, ...]
    """Those that the procedure sets, or that were turned."""
    wrongly_named: tuple[str, ...]
    turns: int
    minutes: float

    @property
    def clean(self) -> bool:
        """Whether nothing is left to look at again."""
        return (
            all(f.state in ("mended", "found") for f in self.faults)
            and all(t.right or t.allowed for t in self.trimmers)
            and not self.wrongly_named
        )


def debrief(before: Truth, after: Truth, events: Sequence[Event], sets: Sequence[str], named: Sequence[str]) -> Debrief:
    """Compare what was done with what was so.

    Args:
        before: the machine as the trainee met it.
        after: as it was left.
        events: of the session.
        sets: the trimmers that the procedure sets.
        named: the faults that the trainee named at the end.
    """
    turns = _turns(events)
    told = []
    for t in after.trimmers:
        if t.name not in sets and t.name not in turns:
            continue
        right = abs(t.off) <= right_within(t.name)
        hides = "" if right or t.name not in turns else _hidden_by(t, after)
        told.append(TrimmerTold(t, before.off(t.name), turns.get(t.name, 0), right, hides))
    faults = tuple(_fault(f, told, named) for f in after.faults)
    worn = {f.fault.name for f in faults if f.state == "found" and not f.fault.mendable}
    told = [replace(t, allowed=t.hides in worn) for t in told]
    had = {f.name for f in before.faults}
    wrongly = tuple(n for n in named if n not in had)
    return Debrief(faults, tuple(told), wrongly, sum(turns.values()), _minutes(events))


def right_within(trimmer: str) -> float:
    """How near right a trimmer has to stand, in its own unit."""
    return next(limit for kind, limit in RIGHT_WITHIN if kind in trimmer)


def _hidden_by(turned: TrimmerTruth, after: Truth) -> str:
    """What a trimmer that was turned away from right makes good; "" for nothing known."""
    causes = next((c for kind, c in HIDES if turned.name.startswith(kind)), ())
    for fault in after.faults:
        loses = fault.there and not fault.trimmers and any(f.startswith(causes) for f in fault.changes)
        if loses and turned.off > 0:
            return fault.name
    for other in after.trimmers:
        off = other.name.startswith(causes) and abs(other.off) > right_within(other.name)
        if off and _same_side(other.name, turned.name) and _answer(other) * turned.off > 0:
            return other.name
    return ""


def _answer(other: TrimmerTruth) -> float:
    """Which way level or treble must be turned to make good another trimmer that is off."""
    if "azimuth" in other.name:
        return 1.0  # it costs treble whichever way it is off
    return other.off if other.name.startswith("bias") else -other.off  # more bias is less treble


def _same_side(one: str, other: str) -> bool:
    sides = [next((s for s in ("left", "right") if name.endswith(s)), "") for name in (one, other)]
    return "" in sides or sides[0] == sides[1]


def _fault(fault: FaultTruth, told: Sequence[TrimmerTold], named: Sequence[str]) -> FaultTold:
    is_named = fault.name in named
    if not fault.there:
        return FaultTold(fault, "mended", is_named)
    if is_named and not fault.mendable:
        return FaultTold(fault, "found", is_named)
    for t in told:
        if t.hides and (t.hides == fault.name or t.hides in fault.trimmers):
            return FaultTold(fault, "hidden", is_named, t.trimmer.name)
    return FaultTold(fault, "found" if is_named else "missed", is_named)


def _turns(events: Sequence[Event]) -> dict[str, int]:
    """How often each trimmer was turned."""
    out: dict[str, int] = {}
    for name, turns in turns_in(events):
        out[name] = out.get(name, 0) + len(turns)
    return out


def _minutes(events: Sequence[Event]) -> float:
    """From the first event to the last, without the time between leaving and coming back."""
    seconds = 0.0
    for earlier, later in pairwise(events):
        if later.kind != "resume":
            seconds += max(0.0, (later.time - earlier.time).total_seconds())
    return seconds / 60
