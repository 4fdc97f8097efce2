"""What makes each reading of a report uncertain."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from bench.measure.reading import Contribution
from bench.session.record.reader import read_session
from bench.session.report.report import report_html
from bench.session.report.uncertainties import uncertainties
from bench.words.names import STAGES
from tests.session.made_up import azimuth, begin, level, response
from tests.session.page import Page

NOISE = (Contribution("noise", 0.05),)


def test_every_reading_has_a_name_of_its_own(tmp_path: Path) -> None:
    """The same quantity, channel and tone at two levels, stages, steps, on two tapes, and from two sources."""
    w = begin(tmp_path)
    tone, target = response("left", 1.0)[1]
    one = [(replace(tone, budget=NOISE), target)]
    for stage in ("found-dirty", "left"):
        w.keep("found-record", stage, "record-replay", one, sent_db=-20.0)
    w.keep("found-record", "left", "record-replay", one, sent_db=-30.0)
    w.keep("proof-record", "left", "record-replay", one, sent_db=-30.0)
    w.keep("proof-replay", "left", "reference tape", one, sent_db=-30.0)
    records = w.store.records()
    told = uncertainties([*records, *(replace(r, lot="side B") for r in records)], STAGES, {"proof-record": "Proof"})
    names = [name for name, _ in told.lines]
    assert len(names) == 10
    assert len(set(names)) == 10
    assert names[0] == "response, left, 63 Hz, record-replay, −20 dB, before cleaning, 0.54 ± 0.11 dB"
    assert "response, left, 63 Hz, record-replay, −30 dB, as left, Proof, 0.54 ± 0.11 dB" in names


def test_quantities_without_sources_are_named(tmp_path: Path) -> None:
    w = begin(tmp_path)
    known, target = level("left", -12.0)
    w.keep("proof-replay", "left", "reference tape", [(replace(known, budget=NOISE), target), azimuth(1.0)])
    told = uncertainties(w.store.records(), STAGES, {})
    assert (len(told.lines), told.without) == (1, ("azimuth, delay",))
    assert "Given only as a whole: azimuth, delay." in Page(report_html(read_session(w.store.folder))).root.text
