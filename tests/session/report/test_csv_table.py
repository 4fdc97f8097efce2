"""readings.csv."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

from bench.measure.method import Method
from bench.session.record.reader import read_session
from bench.session.report.csv_table import COLUMNS, csv_text
from tests.results import a_reading
from tests.session.made_up import begin, failed, level, whole


def rows_of(folder: Path) -> list[dict[str, str]]:
    session = read_session(folder)
    text = csv_text(session)
    assert text.count("\r\n") == 1 + len(session.readings)  # RFC 4180: lines end in CRLF
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_every_reading_is_a_line_and_reads_back(tmp_path: Path) -> None:
    folder = whole(tmp_path)
    rows = rows_of(folder)
    session = read_session(folder)
    assert tuple(rows[0]) == COLUMNS
    for row, record in zip(rows, session.readings, strict=True):
        assert row["id"] == record.id
        assert float(row["value"]) == a_reading(record.reading).value
        assert row["unit"] == record.reading.unit
        assert record.verdict is not None
        assert row["verdict"] == record.verdict.word
        assert float(row["target"]) == record.verdict.target
        assert row["judged"] == ("yes" if record.judged else "no")
    assert rows[-1]["step_title"] == "Record-to-replay as left"


def test_no_reading_has_no_value_and_a_reason(tmp_path: Path) -> None:
    w = begin(tmp_path)
    w.keep("proof-replay", "left", "reference tape", [failed("left", 10000.0)])
    (row,) = rows_of(w.store.folder)
    assert row["value"] == ""
    assert row["uncertainty"] == ""
    assert row["reason"] == "the tone was never steady for half a second"


def test_no_text_is_a_formula_or_breaks_a_line(tmp_path: Path) -> None:
    """What a spreadsheet interprets as a formula: OWASP, "CSV injection"."""
    w = begin(tmp_path)
    reading, target = level("left", -9.0)
    for text in ("=1+1", "+1", "-1", "@sum", "a\r\nb", 'he said "so", twice'):
        w.keep("s", "left", "reference tape", [(replace(reading, method=Method(text)), target)], because=text)
    rows = rows_of(w.store.folder)
    assert [r["accepted_because"] for r in rows] == ["'=1+1", "'+1", "'-1", "'@sum", "a b", 'he said "so", twice']
    assert {r["value"] for r in rows} == {"-9.0"}
