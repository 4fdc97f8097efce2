"""What the trainee's own readings show about each trimmer: verdicts that a debrief must not contradict."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from bench.procedure.model.job import Job
from bench.procedure.model.steps import Adjust
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Repeated, Turned, WentAgain, WentBack
from bench.procedure.state.journal import ReadingRecord
from bench.tape.geometry import delay_us

USUAL_TOLERANCES: tuple[tuple[str, float], ...] = (
    ("replay level", 0.5),
    ("output control", 0.7),
    ("record level", 0.7),
    ("replay equalisation", 1.0),
    ("record equalisation", 1.5),
    ("bias", 1.0),
    ("azimuth", 2.0),
    ("speed", 0.3),
)
"""Largest error of a correct trimmer, in its own unit, where no step judges it: what remains after a line-up to the
usual tolerances. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class _Judging:
    """A step that sets a trimmer, and the tolerance of its readings."""

    step: Adjust
    side: str
    tolerance: float


def tolerances(job: Job, trimmers: Iterable[str]) -> dict[str, float]:
    """The largest error, as the job judges it, with which each of these trimmers is still correct, in its own unit."""
    return {name: _tolerance(job, name) for name in trimmers}


def usual_tolerance(trimmer: str) -> float:
    """The largest error of a correct trimmer where no step judges it, in its own unit."""
    return next((limit for kind, limit in USUAL_TOLERANCES if kind in trimmer), 1.0)


def _tolerance(job: Job, trimmer: str) -> float:
    usual = usual_tolerance(trimmer)
    finest = _finest(job, trimmer)
    if not finest or trimmer.startswith("bias"):
        return usual  # bias is set by a reading that is not bias itself
    quantity, tolerance = finest[-1].step.quantity, finest[-1].tolerance
    if quantity == "azimuth_delay":
        return tolerance / float(delay_us(1.0, job.machine.track_spacing_mm, job.machine.speed_mm_s))
    return tolerance if quantity in _IN_THE_UNIT_OF_THE_TRIMMER else usual


_IN_THE_UNIT_OF_THE_TRIMMER = {"level", "record_replay_level", "response", "speed_error", "azimuth_angle"}


def _finest(job: Job, trimmer: str) -> list[_Judging]:
    """The steps that set a trimmer to the narrowest tolerance; none where no step sets it."""
    found = []
    for step in job.steps:
        side = next((s for s, name in step.trimmers.items() if name == trimmer), "") if isinstance(step, Adjust) else ""
        if isinstance(step, Adjust) and side and step.target is not None:
            tolerance = job.target(step.target).tolerance_at(job.judged_hz(step))
            if tolerance is not None:
                found.append(_Judging(step, side, tolerance))
    narrowest = min((j.tolerance for j in found), default=None)
    return [j for j in found if j.tolerance == narrowest]


def last_verdicts(
    job: Job, trimmers: Iterable[str], records: Sequence[ReadingRecord], events: Sequence[Event]
) -> Mapping[str, ReadingRecord | None]:
    """For each trimmer, the last reading that judges its present position most finely; None without one."""
    return {name: _last(job, name, records, events) for name in trimmers}


def _last(job: Job, trimmer: str, records: Sequence[ReadingRecord], events: Sequence[Event]) -> ReadingRecord | None:
    sides = {j.step.id: j.side for j in _finest(job, trimmer)}
    own = [r for r in records if r.step in sides and sides[r.step] in (r.reading.channel, "both")]
    if not own:
        return None
    last = own[-1]
    alike = [
        r
        for r in records
        if r.time >= last.time
        and (r.reading.quantity, r.reading.channel, r.reading.frequency_hz, r.source, r.noise_reduction)
        == (last.reading.quantity, last.reading.channel, last.reading.frequency_hz, last.source, last.noise_reduction)
    ]
    last = alike[-1] if alike else last
    return None if last.verdict is None or _turned_after(trimmer, last, events) else last


def _turned_after(trimmer: str, reading: ReadingRecord, events: Sequence[Event]) -> bool:
    """Whether a trimmer was turned after a reading. The turns of a step are noted after its readings."""
    went_back = [e.time for e in events if isinstance(e, Repeated | WentAgain | WentBack) and e.time >= reading.time]
    return any(
        e.trimmer == trimmer
        and e.time >= reading.time
        and (e.step != reading.step or any(time <= e.time for time in went_back))
        for e in of_kind(events, Turned)
    )
