"""No reading is missing from the report, and `compare` compares each."""

from __future__ import annotations

import json
import tomllib
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from bench.cli import main
from bench.measure.catalogue import QUANTITIES
from bench.measure.reading import NoReading
from bench.session.compare.comparison import WAYS, compare_sessions
from bench.session.compare.subject import subject_of
from bench.session.record.reader import read_session
from bench.session.record.record import SessionRecord
from bench.session.report.document import document_of
from bench.session.report.other_readings import ids_in_tables
from bench.session.report.plain_text import report_text
from bench.session.report.report import report_html
from bench.words.readings import value_text
from tests.session.made_up import whole
from tests.session.page import Page

ROOT = Path(__file__).parents[3]
KEPT = [
    *sorted((ROOT / "sessions").glob("*/session.toml")),
    *sorted((ROOT / "tests/session/record/frozen").glob("*/session.toml")),
]


def missing_from(session: SessionRecord) -> list[str]:
    """Readings whose figure occurs less often in the text of the report than in the record."""
    document = document_of(session)
    in_tables = ids_in_tables(document.figures, document.responses)
    below = sum(len(attempt.readings) for attempt in document.earlier)
    lines = [r for r in session.valid_readings if QUANTITIES[r.reading.quantity].drawn == "lines"]
    parts = [r for r in lines if r.verdict is None]
    assert len(in_tables) + below + len(parts) == len(session.readings)
    text = " ".join(report_text(session).split())
    figures = Counter(value_text(r.reading) for r in session.readings if r.measured is not None)
    return [f"{figure}: {count}" for figure, count in figures.items() if text.count(figure) < count]


@pytest.mark.parametrize("file", KEPT, ids=lambda f: f.parent.name)
def test_every_reading_of_a_kept_session_is_in_its_report(file: Path) -> None:
    session = read_session(file.parent)
    assert session.readings
    assert missing_from(session) == []


def test_the_page_has_what_stands_in_no_table(tmp_path: Path) -> None:
    """A reading that a later turn invalidated, and a first attempt: neither is as left, and both are in the report."""
    session = read_session(whole(tmp_path))
    (turned,) = [r for r in session.readings if r.step == "replay-level"]
    assert turned.measured is not None
    first = replace(turned, id="first", reading=replace(turned.measured, value=-11.11))
    session = replace(session, readings=(first, *(replace(r, attempt=2) for r in session.readings)))
    assert missing_from(session) == []
    page = Page(report_html(session)).root
    details, _files = page.all("details")
    assert "−11.11 ± 0.12 dBFS" in details.text
    assert "−11.11" not in " ".join(table.text for table in page.all("table"))


def test_compare_has_each_reading_of_both_sessions() -> None:
    first, second = (read_session(file.parent) for file in KEPT[:2])
    kept = first.readings[-1]
    silent = NoReading(kept.reading.quantity, kept.reading.channel, "silence", frequency_hz=77.0)
    first = replace(first, readings=(*first.readings, replace(kept, id="silent", reading=silent)))
    rows = {row.subject for way in WAYS for row in compare_sessions(first, second, way).rows}
    for session in (first, second):
        wanted = {subject_of(r) for r in session.valid_readings} - {None}
        assert wanted <= rows


PROCEDURES = {f.stem: tomllib.loads(f.read_text(encoding="utf-8")) for f in (ROOT / "procedures").glob("*.toml")}
JOBS = ["book-in", *sorted(name for name, procedure in PROCEDURES.items() if not procedure.get("part"))]
"""A part that is a job of its own, and every whole job."""
WITHOUT_READINGS = {"book-in", "clean", "demagnetise"}


@pytest.mark.long
@pytest.mark.parametrize("job", JOBS)
def test_every_reading_of_a_job_is_in_its_report(
    tmp_path: Path, job: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "procedures").symlink_to(ROOT / "procedures")
    monkeypatch.chdir(tmp_path)
    main(["rehearse", job, "--seed", "3", "--json"])
    told = json.loads(capsys.readouterr().out)
    session = read_session(Path(told["session"]))
    assert bool(session.readings) == (job not in WITHOUT_READINGS)
    assert missing_from(session) == []
    assert told["said"] == session.conclusion.said
