"""A machine over the years: every reading of every visit, what drifts, and when it is due again."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from bench.measure.reading import Bound
from bench.measure.stage import Stage
from bench.measure.verdict import VerdictWord
from bench.problem import Problem
from bench.procedure.state.journal import ReadingRecord
from bench.session.compare.drift import Drift, Step, drift, reaches
from bench.session.compare.machines import INTERVAL_MONTHS, months_after
from bench.session.compare.subject import SHARED, Conditions, Subject, conditions_of, differences, in_order, last_of
from bench.session.record.index import Entry, entries, of_machine
from bench.session.record.reader import read_session
from bench.session.record.record import SessionRecord
from bench.workspace import Workspace

ONE_VISIT = "it was read at one visit only"


@dataclass(frozen=True, slots=True)
class Point:
    """A reading at a visit."""

    session: str
    """Name of the session's folder."""
    when: datetime
    stage: Stage
    value: float
    uncertainty: float
    apart: float
    """The part of the uncertainty that other readings in the same conditions do not share."""
    bound: Bound | None
    verdict: VerdictWord | None
    target: float | None
    tolerance: float | None
    limit: str
    """"at least" or "at most" where `target` is a limit on one side, else ""."""
    conditions: Conditions

    @property
    def allowed(self) -> tuple[float, float]:
        """The values that are accepted, from lowest to highest."""
        if self.target is None:
            return -math.inf, math.inf
        if self.limit:
            return (self.target, math.inf) if self.limit == "at least" else (-math.inf, self.target)
        if self.tolerance is None:
            return -math.inf, math.inf
        return self.target - self.tolerance, self.target + self.tolerance


@dataclass(frozen=True, slots=True)
class Visit:
    """A session of the machine."""

    session: str
    when: datetime
    procedure: str
    outcome: str
    adjusted: bool
    """Whether something was turned, so that as left differs from as found."""
    note: str = ""
    """Why it counts only in part or not at all."""
    done: bool = True
    """Whether it came to its end."""


@dataclass(frozen=True, slots=True)
class Series:
    """One subject over the years."""

    subject: Subject
    points: tuple[Point, ...]
    """Oldest first; within a visit, as found before as left."""
    drift: Drift | None
    no_drift: str
    """Why there is no drift; "" where there is one."""
    reaches: date | None
    """When the drift reaches the end of the tolerance; None where it is not known to."""


@dataclass(frozen=True, slots=True)
class Due:
    """When a machine should come back."""

    on: date | None
    """None where no visit came to its end, so that nothing can be due again."""
    because: str
    sooner: bool = False
    """Whether a reading makes it due before the workshop's interval is over."""


@dataclass(frozen=True, slots=True)
class History:
    """A machine's visits and series."""

    machine: str
    visits: tuple[Visit, ...]
    """Oldest first."""
    series: tuple[Series, ...]
    due: Due
    interval_months: int


def machine_history(
    workspace: Workspace, machine: str, quantity: str | None = None, interval_months: int = INTERVAL_MONTHS
) -> History:
    """The history of a machine.

    Args:
        workspace: workspace with the sessions.
        machine: its name, that of its sheet, or a part of either that fits no other machine.
        quantity: only series of this quantity are returned; None for all. All of them decide when it is due.
        interval_months: months from one visit of a machine to the next.

    Raises:
        Problem: no machine fits, or several do.
    """
    every = entries(workspace.sessions)
    found = of_machine(every, machine)
    if not found:
        names = sorted({e.machine for e in every if not e.exercise and not e.problem})
        there = f"; there are {', '.join(names)}" if names else "; there are no sessions yet"
        raise Problem(f'"{machine}": no machine, or more than one, has that name in {workspace.sessions}{there}')
    return history_of(found, quantity, interval_months)


def history_of(found: Sequence[Entry], quantity: str | None, interval_months: int) -> History:
    """The history from sessions that are known to be of one machine, in any order."""
    visits, sessions = [], []
    for entry in sorted(found, key=lambda e: (e.begun, e.name)):
        try:
            session = read_session(entry.folder)
        except Problem as problem:
            visits.append(Visit(entry.name, entry.begun, entry.procedure, "", False, problem.sentence, entry.done))
            continue
        visits.append(_visit(session))
        sessions.append((visits[-1], session))
    series = _series(sessions)
    due = _due(visits, series, interval_months)
    if quantity is not None:
        series = [s for s in series if s.subject.quantity == quantity]
    return History(found[0].machine, tuple(visits), tuple(series), due, interval_months)


def _visit(session: SessionRecord) -> Visit:
    job = session.job
    outcome, adjusted = session.conclusion.said, session.adjusted
    return Visit(session.folder.name, session.begun, job.procedure, outcome, adjusted, session.read_only, session.done)


def _series(sessions: Sequence[tuple[Visit, SessionRecord]]) -> list[Series]:
    subjects: dict[Subject, None] = {}
    tables = []
    for visit, session in sessions:
        stages: dict[Stage, dict[Subject, ReadingRecord]] = {
            stage: last_of(session, (stage,)) for stage in ("found-dirty", "found-clean", "left")
        }
        tables.append((visit, session, stages))
        for found in stages.values():
            subjects |= dict.fromkeys(found)
    out = []
    for subject in sorted(subjects, key=in_order):
        points = [
            point
            for visit, session, stages in tables
            for found in stages.values()
            if subject in found and (point := _point(visit, session, found[subject])) is not None
        ]
        out.append(_with_drift(subject, points, [visit for visit, _ in sessions]))
    return out


def _point(visit: Visit, session: SessionRecord, record: ReadingRecord) -> Point | None:
    r, v = record.measured, record.verdict
    if r is None:
        return None
    return Point(
        visit.session,
        visit.when,
        record.stage,
        r.value,
        r.uncertainty,
        r.uncertainty_without(*SHARED),
        r.bound,
        v.word if v else None,
        v.target if v else None,
        v.tolerance if v else None,
        v.limit if v else "",
        conditions_of(record, session.job),
    )


def _with_drift(subject: Subject, points: Sequence[Point], visits: Sequence[Visit]) -> Series:
    steps, broken = _steps(points, visits)
    series = Series(subject, tuple(points), drift(steps), "", None)
    if series.drift is None:
        because = broken or (ONE_VISIT if not steps else "too short a time to tell")
        series = replace(series, no_drift=because)
    last = next((p for p in reversed(points) if p.stage == "left"), None)
    if series.drift and last:
        series = replace(series, reaches=reaches(series.drift, last.when.date(), last.value, last.allowed))
    return series


def _steps(points: Sequence[Point], visits: Sequence[Visit]) -> tuple[list[Step], str]:
    """What happened between visits, and why a step is missing."""
    steps: list[Step] = []
    broken = ""
    before: Point | None = None
    for visit in visits:
        here = {p.stage: p for p in points if p.session == visit.session and not p.bound}
        as_found = here.get("found-clean") or (None if visit.adjusted else here.get("left"))
        if before and as_found:
            differ = differences(before.conditions, as_found.conditions)
            if differ:
                broken = differ[0]
            elif before.uncertainty and as_found.uncertainty:
                days = (as_found.when - before.when).total_seconds() / 86400
                steps.append(Step(days, as_found.value - before.value, math.hypot(before.apart, as_found.apart)))
            else:
                broken = "its readings have no uncertainty"
        elif before and here:
            broken = "it was adjusted before it was read"
        after = here.get("left") or (None if visit.adjusted else here.get("found-clean"))
        # A visit that turned something and did not read this afterwards may have moved it.
        before = after or (None if visit.adjusted else before)
    return steps, broken


def _due(visits: Sequence[Visit], series: Sequence[Series], interval_months: int) -> Due:
    ended = [v for v in visits if v.done]
    if not ended:
        return Due(None, "no visit came to its end")
    which = "last visit" if ended[-1] is visits[-1] else "last visit that came to its end"
    on = months_after(ended[-1].when.date(), interval_months)
    due = Due(on, f"{interval_months} months after its {which}")
    known = [s for s in series if s.reaches is not None]
    first = min(known, key=lambda s: s.reaches or date.max, default=None)
    if first is None or first.reaches is None or first.reaches >= on:
        return due
    newest = next(p for p in reversed(first.points) if p.stage == "left")
    low, high = newest.allowed
    if not low <= newest.value <= high:
        return Due(first.reaches, f"{_lower(first.subject.text)} was left outside its tolerance", sooner=True)
    return Due(first.reaches, f"{_lower(first.subject.text)} drifts to the end of its tolerance by then", sooner=True)


def _lower(said: str) -> str:
    return said[:1].lower() + said[1:]
