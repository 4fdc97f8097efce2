"""Tones that are expected, and how one that was heard is told to be one of them: by order, frequency, level."""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import median

from bench.measure.reading import Result
from bench.measure.verdict import Verdict
from bench.procedure.state.snapshot import ToneRow

REACH = 0.06
"""How far off in frequency a tone may be: a domestic machine's worst speed (common practice, no source)."""

SKIP_DB = 6.0
"""What passing over one expected tone weighs, as if it were an error of level."""

TREBLE_HZ = 1250.0
"""Above it a tone may well be missing decibels (dirt, azimuth); below it a level that is off tells another tone."""


FAINT_DB, FAINT_TREBLE_DB = 30.0, 50.0
"""So far below what is expected, below and above `TREBLE_HZ`, it is no tone of the tape but hum (400 Hz is a harmonic
of 50 Hz), crosstalk or what was not wholly erased."""


@dataclass(slots=True)
class Expected:
    """One tone that should come."""

    id: str
    hz: float
    dbfs: float
    """Where a machine that is right would read."""
    purpose: str
    label: str
    state: str = "waiting"
    heard_dbfs: float | None = None
    readings: list[tuple[Result, Verdict | None]] = field(default_factory=list)

    def row(self) -> ToneRow:
        """As a screen shows it."""
        return ToneRow(self.id, self.label, self.state, self.hz, tuple(self.readings))  # type: ignore[arg-type]


def match(expected: list[Expected], hz: float, dbfs: float) -> Expected | None:
    """The expected tone that a heard one is, or None.

    Of those not yet done and near enough in frequency, the one that fits best by order (passing over others
    weighs) and by level, once the offset common to all tones so far is taken out.
    """
    offset = median([e.heard_dbfs - e.dbfs for e in expected if e.heard_dbfs is not None] or [0.0])
    reached = max((n for n, e in enumerate(expected) if e.state == "done"), default=-1)
    best: tuple[float, int] | None = None
    for n, e in enumerate(expected):
        if e.state == "done" or abs(hz / e.hz - 1) > REACH:
            continue
        miss = dbfs - offset - e.dbfs
        if miss < -(FAINT_TREBLE_DB if e.hz > TREBLE_HZ else FAINT_DB):
            continue
        weight = 1.0 if miss < 0 and e.hz > TREBLE_HZ else 3.0
        skipped = sum(x.state != "done" for x in expected[reached + 1 : n]) if n > reached else reached - n
        rank = (weight * abs(miss) + SKIP_DB * skipped, n)
        if best is None or rank < best:
            best = rank
    return None if best is None else expected[best[1]]
