"""`readings.csv`: every reading of a session, one per line, for a spreadsheet or a script."""

from __future__ import annotations

import csv
import io

from bench.measure.reading import NoReading
from bench.session.record.record import SessionRecord
from bench.words.sentences import inert

COLUMNS = (
    "id",
    "time",
    "step",
    "step_title",
    "attempt",
    "lot",
    "noise_reduction",
    "direction",
    "stage",
    "source",
    "quantity",
    "channel",
    "frequency_hz",
    "sent_db",
    "value",
    "bound",
    "unit",
    "uncertainty",
    "reference",
    "method",
    "reason",
    "judged",
    "verdict",
    "target",
    "tolerance",
    "target_source",
    "accepted_because",
)


def csv_text(session: SessionRecord) -> str:
    """All readings of all attempts, oldest first, as RFC 4180 with a header; absent values are empty."""
    out = io.StringIO()
    titles = session.titles
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for r in session.readings:
        reading, measured, verdict = r.reading, r.measured, r.verdict
        writer.writerow(
            _cell(value)
            for value in (
                r.id,
                r.time.isoformat(),
                r.step,
                titles.get(r.step, ""),
                r.attempt,
                r.lot,
                r.noise_reduction,
                r.direction,
                r.stage,
                r.source,
                reading.quantity,
                reading.channel,
                reading.frequency_hz,
                r.sent_db,
                measured.value if measured else None,
                measured.bound if measured else None,
                reading.unit,
                measured.stated_uncertainty if measured else None,
                str(reading.reference),
                str(reading.method),
                reading.reason if isinstance(reading, NoReading) else None,
                "yes" if r.judged else "no",
                verdict.word if verdict else None,
                verdict.target if verdict else None,
                verdict.tolerance if verdict else None,
                verdict.source if verdict else None,
                r.accepted_because,
            )
        )
    return out.getvalue()


def _cell(value: object) -> object:
    if not isinstance(value, str):
        return "" if value is None else value
    text = inert(value)
    # A spreadsheet treats text that begins with these characters as a formula.
    return f"'{text}" if text.startswith(("=", "+", "-", "@")) else text
