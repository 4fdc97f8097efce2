"""The readings that are in no other table: earlier attempts, and readings that a later turn or reading superseded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from bench.procedure.state.journal import ReadingRecord
from bench.session.record.record import SessionRecord
from bench.session.report.tables import Measurement, ResponseTable
from bench.words.names import STAGES
from bench.words.readings import judged_text, reading_name, state_words


@dataclass(frozen=True, slots=True)
class Attempt:
    """An attempt at a step."""

    step: str
    """Title of the step, with the stage as found, and the number of the attempt where there were several."""
    readings: tuple[str, ...]
    """Each reading with its figure, target and verdict."""


def other_readings(session: SessionRecord, shown: frozenset[str]) -> tuple[Attempt, ...]:
    """Every reading whose id is not in `shown`, oldest first."""
    rest = [r for r in session.readings if r.id not in shown]
    titles = session.titles
    return tuple(
        Attempt(
            titles.get(step, step)
            + (f", {STAGES[stage]}" if stage != "left" else "")
            + (f", attempt {attempt}" if attempt > 1 else ""),
            tuple(map(_said, group)),
        )
        for (step, stage, attempt), group in groupby(rest, key=lambda r: (r.step, r.stage, r.attempt))
    )


def ids_in_tables(measurements: Sequence[Measurement], tables: Sequence[ResponseTable]) -> frozenset[str]:
    """Ids of the readings in these tables."""
    cells = [cell for measurement in measurements for line in measurement.lines for cell in line.cells]
    cells += [cell for table in tables for row in table.rows for point in row.points for cell in point.cells]
    return frozenset(cell.id for cell in cells if cell.id)


def _said(r: ReadingRecord) -> str:
    state = state_words(r.sent_db, r.lot, r.noise_reduction, r.direction)
    return f"{', '.join([reading_name(r.reading), *state])}: {judged_text(r.reading, r.verdict)}"
