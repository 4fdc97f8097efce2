"""Two sessions side by side: what changed, what did not, and what cannot be compared."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from bench.measure.catalogue import UNITS
from bench.measure.reading import Reading
from bench.measure.stage import Stage
from bench.procedure.state.journal import ReadingRecord
from bench.session.compare.subject import SHARED, Subject, conditions_of, differences, in_order, last_of
from bench.session.record.reader import read_session
from bench.session.record.record import SessionRecord
from bench.words.sentences import differing

Way = Literal["left", "found", "before-cleaning", "between"]
"""Which stages are compared: both as left; both as found, after or before cleaning; or, for what happened between the
sessions, the first as left with the second as found."""

WAYS: dict[Way, tuple[tuple[Stage, ...], tuple[Stage, ...]]] = {
    "left": (("left",), ("left",)),
    "found": (("found-clean",), ("found-clean",)),
    "before-cleaning": (("found-dirty",), ("found-dirty",)),
    "between": (("left",), ("found-clean",)),
}
"""The stages that are taken from the first and from the second session, in order of preference."""

State = Literal["changed", "no change shown", "not compared", "only in the first", "only in the second"]


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two sessions."""

    session: str
    machine: str
    procedure: str
    when: datetime
    stage: Stage
    note: str = ""
    """Why it could be read only in part."""


@dataclass(frozen=True, slots=True)
class Row:
    """A subject that was measured in either session."""

    subject: Subject
    first: ReadingRecord | None
    second: ReadingRecord | None
    state: State
    by: float | None = None
    """The second minus the first; None where the two are not compared."""
    uncertainty: float | None = None
    """Expanded uncertainty (k = 2) of `by`: root of the sum of squares, without the part that both share."""
    because: str = ""
    """Why the two are not compared."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two sessions compared."""

    first: Side
    second: Side
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()
    """Caveats: another machine, another procedure."""

    @property
    def changed(self) -> tuple[Row, ...]:
        """The rows in which something changed."""
        return tuple(r for r in self.rows if r.state == "changed")


def compare_folders(a: Path, b: Path, way: Way = "left") -> Comparison:
    """Compare two sessions.

    Args:
        a: folder of the first session.
        b: folder of the second session, usually the later one.
        way: which of their readings.

    Raises:
        Problem: one of them can't be read.
    """
    return compare_sessions(read_session(a), read_session(b), way)


def compare_sessions(a: SessionRecord, b: SessionRecord, way: Way = "left") -> Comparison:
    """Compare two sessions that are already read."""
    stages = WAYS[way]
    first, second = last_of(a, stages[0], failed=True), last_of(b, stages[1], failed=True)
    rows = [_row(s, first.get(s), second.get(s), a, b) for s in sorted({**first, **second}, key=in_order)]
    return Comparison(_side(a, stages[0][0]), _side(b, stages[1][0]), tuple(rows), _notes(a, b))


def change(one: Reading, two: Reading) -> tuple[float, float]:
    """The second minus the first, and its expanded uncertainty (k = 2), without the part that both share.

    The uncertainty is at least the smallest that is written in the unit, so that no change is reported as 0.00.
    """
    u = math.hypot(one.uncertainty_without(*SHARED), two.uncertainty_without(*SHARED))
    return two.value - one.value, max(u, UNITS[one.unit].finest)


def _side(session: SessionRecord, stage: Stage) -> Side:
    job = session.job
    return Side(session.folder.resolve().name, job.machine, job.procedure, session.begun, stage, session.read_only)


def _notes(a: SessionRecord, b: SessionRecord) -> tuple[str, ...]:
    pairs = (
        ("machines", a.job.machine, b.job.machine),
        ("practice machines", _seed(a), _seed(b)),
        ("procedures", a.job.procedure, b.job.procedure),
        ("tape speeds", a.job.speed_text, b.job.speed_text),
        ("reference levels", a.job.reference_level, b.job.reference_level),
        ("equalisations", a.job.equalisation, b.job.equalisation),
    )
    return tuple(differing(pairs))


def _seed(session: SessionRecord) -> str:
    return str(session.job.seed) if session.job.port_kind == "practice" else ""


def _row(
    subject: Subject,
    first: ReadingRecord | None,
    second: ReadingRecord | None,
    a: SessionRecord,
    b: SessionRecord,
) -> Row:
    if first is None or second is None:
        return Row(subject, first, second, "only in the second" if first is None else "only in the first")
    differ = differences(conditions_of(first, a.job), conditions_of(second, b.job))
    one, two = first.measured, second.measured
    if one is None or two is None:
        which = "both" if one is two else "the first" if one is None else "the second"
        return Row(subject, first, second, "not compared", because="; ".join([*differ, f"no reading in {which}"]))
    if one.bound or two.bound:
        differ.append("what is only known to be at least or at most so much is not compared")
    elif one.unit != "1" and not (one.uncertainty and two.uncertainty):
        differ.append("the uncertainty is not known")
    if differ:
        return Row(subject, first, second, "not compared", because="; ".join(differ))
    by, u = change(one, two)
    return Row(subject, first, second, "changed" if abs(by) > u else "no change shown", by, u)
