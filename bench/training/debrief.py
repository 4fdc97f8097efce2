"""The debrief of an exercise: what was hidden, found, mended or masked, and the remaining errors.

It never contradicts a reading that the trainee saw: the last verdict on a trimmer decides whether it is right. Without
a verdict the true error decides, with the tolerance that the verdict would have.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from bench.diagnosis.machine import machine_of
from bench.diagnosis.output.cause_page import signature
from bench.figures import hertz, number
from bench.procedure.model.job import Job
from bench.procedure.model.steps import Adjust
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Resumed, Turned
from bench.procedure.state.exercise_events import Debriefed, FaultOutcome, RanTest, TrimmerOutcome, causes_named
from bench.procedure.state.journal import ReadingRecord
from bench.training.causes import Cause, is_right_name, out_of_adjustment, trimmer_kind
from bench.training.exercise import NEEDS_RECORDING, shown_by
from bench.training.rivals import page_of, rival_of
from bench.training.trimmer_verdicts import last_verdicts, tolerances
from bench.training.truth import HiddenCause, TrimmerTruth, Truth

MASKS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "replay equalisation",
        ("replay azimuth", "replay_azimuth", "replay_dirt", "replay_gap", "replay_t1", "replay_height", "magnetised"),
    ),
    ("replay level", ("replay_height", "replay_dirt")),
    (
        "record equalisation",
        (
            "record azimuth",
            "record_azimuth",
            "record_dirt",
            "bias",
            "replay equalisation",
            "other_tape",
            "tape_selector",
        ),
    ),
    ("record level", ("replay level", "other_tape", "tape_selector")),
    ("bias", ("other_tape", "tape_selector", "record_dirt", "record_azimuth")),
)
"""Trimmers that can mask another error by compensating for it, and the trimmers and figures that they can mask. Common
practice, no source."""


@dataclass(frozen=True, slots=True)
class TraineeWork:
    """What the trainee saw and did."""

    records: Sequence[ReadingRecord]
    events: Sequence[Event]

    @property
    def named(self) -> tuple[str, ...]:
        """The causes named at the end."""
        return tuple(e.cause for e in causes_named(self.events))

    @property
    def arguments(self) -> tuple[tuple[str, ReadingRecord], ...]:
        """The causes named with a reading, and that reading."""
        by_id = {r.id: r for r in self.records}
        return tuple((e.cause, by_id[e.reading]) for e in causes_named(self.events) if e.reading in by_id)


def debrief(job: Job, before: Truth, after: Truth, seen: TraineeWork, known: Sequence[Cause]) -> Debriefed:
    """Compare what was done with the true state of the machine.

    Args:
        job: the job of the exercise.
        before: the machine at the start.
        after: the machine at the end.
        seen: readings and events.
        known: all causes that can be named.
    """
    names = [t.name for t in after.trimmers]
    limits = tolerances(job, names)
    turns = _turns(seen.events)
    sets = {name for s in job.steps if isinstance(s, Adjust) for name in s.trimmers.values()}
    last = last_verdicts(job, names, seen.records, seen.events)
    trimmers = []
    for t in after.trimmers:
        if t.name in sets or t.name in turns or abs(before.off(t.name)) > limits[t.name]:
            hides = _masked_by(t, after, limits) if t.name in turns else ""
            right = not hides and _is_right(t, limits[t.name], last[t.name])
            outcome = TrimmerOutcome(t.name, t.unit, before.off(t.name), t.off, turns.get(t.name, 0), right, hides)
            trimmers.append(outcome)
    hidden = (*after.hidden, *_out_of_adjustment(before, limits, known))
    faults = tuple(_with_lesson(_outcome(h, trimmers, seen, known), h.cause, job, seen) for h in hidden)
    unrepairable = {f.name for f, h in zip(faults, hidden, strict=True) if f.named and not h.repairable}
    trimmers = [replace(t, allowed=t.hides in unrepairable) for t in trimmers]
    wrongly = tuple(n for n in seen.named if not any(is_right_name(n, h.cause, known) for h in hidden))
    return Debriefed(faults, tuple(trimmers), wrongly, sum(turns.values()), minutes(seen.events))


def _is_right(t: TrimmerTruth, tolerance: float, last: ReadingRecord | None) -> bool:
    """Whether a trimmer is right: by its last verdict, or by the truth where that is missing or too close to call."""
    word = last.verdict.word if last is not None and last.verdict is not None else ""
    return abs(t.off) <= tolerance if word not in ("in", "out") else word == "in" or abs(t.off) <= tolerance / 2


def _out_of_adjustment(before: Truth, limits: Mapping[str, float], known: Sequence[Cause]) -> list[HiddenCause]:
    """The trimmers that were out at the start without a fault as the reason, one cause for each kind."""
    of_faults = {name for h in before.hidden for name in h.trimmers}
    out: dict[str, list[TrimmerTruth]] = {}
    for t in before.trimmers:
        if abs(t.off) > limits[t.name] and t.name not in of_faults:
            out.setdefault(trimmer_kind(t.name), []).append(t)
    causes = []
    for kind, trimmers in out.items():
        figures = {t.figure: t.off for t in trimmers}
        tells = next((c.tells for c in known if set(c.figures) & set(figures)), "")
        causes.append(
            HiddenCause(Cause(out_of_adjustment(kind), tells, figures), tuple(t.name for t in trimmers), True)
        )
    return causes


def _masked_by(turned: TrimmerTruth, after: Truth, limits: Mapping[str, float]) -> str:
    """What a trimmer masks by being turned away from its correct position; "" for nothing known."""
    if abs(turned.off) <= limits[turned.name]:
        return ""
    causes = next((c for kind, c in MASKS if turned.name.startswith(kind)), ())
    for hidden in after.hidden:
        figures = hidden.cause.figures
        loses = hidden.present and not hidden.trimmers and any(f.startswith(causes) for f in figures)
        if loses and (turned.off > 0 or any(f.startswith(("other_tape", "tape_selector")) for f in figures)):
            return hidden.cause.name
    for other in after.trimmers:
        off = other.name.startswith(causes) and abs(other.off) > limits[other.name]
        if off and _same_side(other.name, turned.name) and _compensating_direction(other) * turned.off > 0:
            return other.name
    return ""


def _compensating_direction(other: TrimmerTruth) -> float:
    """Sign of the direction in which level or treble must be turned to compensate for another trimmer's error."""
    if "azimuth" in other.name:
        return 1.0  # an azimuth error loses treble in either direction
    return other.off if other.name.startswith("bias") else -other.off  # more bias means less treble


def _same_side(one: str, other: str) -> bool:
    sides = [next((s for s in ("left", "right") if name.endswith(s)), "") for name in (one, other)]
    return "" in sides or sides[0] == sides[1]


def _outcome(
    hidden: HiddenCause, trimmers: Sequence[TrimmerOutcome], seen: TraineeWork, known: Sequence[Cause]
) -> FaultOutcome:
    cause = hidden.cause
    is_named = any(is_right_name(name, cause, known) for name in seen.named)
    argued = any(is_right_name(name, cause, known) and _changes(cause, r) for name, r in seen.arguments)
    rival = rival_of(cause)
    if rival is not None:
        tested = [e for e in causes_named(seen.events) if e.test_is_right]
        argued = argued and any(is_right_name(e.cause, cause, known) for e in tested)
    outcome = FaultOutcome(cause.name, cause.tells, "missed", named=is_named, argued=argued)
    if rival is not None:
        was_run = any(e.test == rival.test for e in of_kind(seen.events, RanTest))
        outcome = replace(outcome, rival=rival.name, test=rival.test, tested=was_run)
    own = [t for t in trimmers if t.name in hidden.trimmers]
    if not hidden.present or (own and all(t.right for t in own)):
        return replace(outcome, state="mended")
    hidden_by = next(
        (t.name for t in trimmers if t.hides and (t.hides == cause.name or t.hides in hidden.trimmers)), ""
    )
    if hidden_by and not (is_named and not hidden.repairable):
        return replace(outcome, state="hidden", by=hidden_by)
    return replace(outcome, state="found") if is_named else outcome


def _with_lesson(outcome: FaultOutcome, cause: Cause, job: Job, seen: TraineeWork) -> FaultOutcome:
    """Add the effect of the cause on readings, and the trainee's own curve."""
    page = page_of(cause)
    if page is None:
        return outcome
    machine = machine_of(job.machine.model_dump(), job.machine.name)
    curve = [r for r in seen.records if r.reading.quantity == "response" and _changes(cause, r) and r.off is not None]
    first = [r for r in curve if r.step == curve[0].step and r.reading.channel == curve[0].reading.channel]
    points = [(r.reading.frequency_hz, r.off) for r in first]
    said = [f"{hertz(hz)} {number(off, 1, sign=True)}" for hz, off in points if hz is not None and off is not None]
    return replace(outcome, predicted=tuple(signature(page, machine)), read=", ".join(said))


def _changes(cause: Cause, record: ReadingRecord) -> bool:
    """Whether a cause changes what a reading shows."""
    only_recorded = all(figure.startswith(NEEDS_RECORDING) for figure in cause.figures)
    if only_recorded and record.source == "reference tape":
        return False
    return any(record.reading.quantity in shown_by(figure) for figure in cause.figures)


def _turns(events: Sequence[Event]) -> dict[str, int]:
    """How often each trimmer was turned."""
    out: dict[str, int] = {}
    for turned in of_kind(events, Turned):
        out[turned.trimmer] = out.get(turned.trimmer, 0) + len(turned.degrees)
    return out


def minutes(events: Sequence[Event]) -> float:
    """Minutes from the first event to the last, without the time between leaving and resuming."""
    seconds = 0.0
    for earlier, later in pairwise(events):
        if not isinstance(later, Resumed):
            seconds += max(0.0, (later.time - earlier.time).total_seconds())
    return seconds / 60
