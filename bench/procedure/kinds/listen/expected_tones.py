"""Expected tones, and the match of a heard tone with one of them by order, frequency and level."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from statistics import median

from bench.measure.reading import Result
from bench.measure.verdict import Verdict
from bench.procedure.state.snapshot import ToneRow

REACH = 0.06
"""Largest relative error of frequency: the worst speed error of a domestic machine (common practice, no source)."""

SKIP_DB = 6.0
"""Penalty for each expected tone that is passed over, counted like an error of level. A choice."""

TREBLE_HZ = 1250.0
"""Above this, dirt or azimuth may cost a tone many dB; below it, a wrong level means another tone."""


FAINT_DB, FAINT_TREBLE_DB = 30.0, 50.0
"""A tone this far below the expected level, below and above `TREBLE_HZ`, is not on the list: it is hum (400 Hz is a
harmonic of 50 Hz), crosstalk or the rest of an erased recording. A choice."""

AGAIN_DB = 3.0
"""A tone this near the level of one already heard is the same section: a dropout or a stop cut it in two. A choice."""

APART_DB = 10.0
"""Once the machine's level is known from one tone, another this far above its expected level is a different tone, and
up to `TREBLE_HZ` one this far below it as well. A choice."""


@dataclass(slots=True)
class Expected:
    """An expected tone."""

    id: str
    hz: float
    dbfs: float
    """What it reads on a machine in adjustment."""
    purpose: str
    label: str
    sent_db: float
    """Nominal level, dB re the reference level."""
    wanted: bool = True
    """Whether the step measures it; other tones of the tape are recognised only to be ignored."""
    state: str = "waiting"
    heard_dbfs: float | None = None
    readings: list[tuple[Result, Verdict | None]] = field(default_factory=list)

    def row(self) -> ToneRow:
        """The tone as a screen shows it."""
        return ToneRow(self.id, self.label, self.state, self.hz, tuple(self.readings), self.sent_db)  # type: ignore[arg-type]

    def is_like(self, other: Expected) -> bool:
        """Whether only the order on the tape tells the two apart."""
        return self.hz == other.hz and abs(self.dbfs - other.dbfs) <= AGAIN_DB


def match(
    expected: list[Expected], hz: float, dbfs: float, is_due: Callable[[Expected], bool] = lambda _: True
) -> Expected | None:
    """The expected tone that matches a heard one, or None.

    Among the tones not heard yet with that frequency that may sound at this time (`is_due`), the best match by order
    (every wanted tone passed over counts against it) and by level, relative to the mean offset of the tones so far.
    None for a second take of a tone already heard, and for a level that fits none of them.
    """
    known = [e.heard_dbfs - e.dbfs for e in expected if e.heard_dbfs is not None]
    offset = median(known or [0.0])
    reached = max((n for n, e in enumerate(expected) if e.state == "done"), default=-1)
    best: tuple[float, int] | None = None
    for n, e in enumerate(expected):
        if e.state == "done" or abs(hz / e.hz - 1) > REACH or not is_due(e):
            continue
        miss = dbfs - offset - e.dbfs
        if miss < -(FAINT_TREBLE_DB if e.hz > TREBLE_HZ else FAINT_DB):
            continue
        if known and (miss > APART_DB or (miss < -APART_DB and e.hz <= TREBLE_HZ)):
            continue
        if _again(expected, e, hz, dbfs) < min(AGAIN_DB, abs(miss) - AGAIN_DB):
            continue
        weight = 1.0 if miss < 0 and e.hz > TREBLE_HZ else 3.0
        skipped = sum(x.wanted and x.state != "done" for x in expected[reached + 1 : n]) if n > reached else reached - n
        rank = (weight * abs(miss) + SKIP_DB * skipped, n)
        if best is None or rank < best:
            best = rank
    return None if best is None else expected[best[1]]


def other_first(expected: list[Expected], hz: float, dbfs: float) -> tuple[Expected, Expected] | None:
    """The one tone heard so far, and what it must have been, if a second tone fits only then; None otherwise.

    A capture that is 20 dB low begins with a level tone that reads like the first tone of the responses.
    """
    done = [(e, e.heard_dbfs) for e in expected if e.heard_dbfs is not None]
    if len(done) != 1:
        return None
    ((taken, heard),) = done
    for other in expected:
        if other.hz != taken.hz or other.is_like(taken):
            continue
        level = dbfs - (heard - other.dbfs)
        if any(abs(hz / e.hz - 1) <= REACH and abs(level - e.dbfs) <= AGAIN_DB for e in expected if e is not other):
            return taken, other
    return None


def _again(expected: list[Expected], e: Expected, hz: float, dbfs: float) -> float:
    """Distance in level to the nearest tone already heard that is expected at a different level from `e`, dB.

    Two sections of the same frequency and level, for azimuth and for response, are equally distant.
    """
    return min(
        (
            abs(dbfs - other.heard_dbfs)
            for other in expected
            if other.heard_dbfs is not None and abs(hz / other.hz - 1) <= REACH and abs(other.dbfs - e.dbfs) > AGAIN_DB
        ),
        default=math.inf,
    )
