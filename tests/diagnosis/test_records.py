"""How a session's readings become the input of a diagnosis."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from bench.diagnosis.machine import Machine
from bench.diagnosis.readings.finding import Finding
from bench.diagnosis.readings.records import findings_of
from bench.diagnosis.readings.references import with_references
from bench.session.record.reader import read_session

SESSION = Path(__file__).parents[1] / "session" / "record" / "frozen" / "schema-3"


@pytest.mark.parametrize("hz", [-315.0, 3.15e9])
def test_a_frequency_that_no_tone_has_is_no_evidence(hz: float) -> None:
    records = read_session(SESSION).readings
    whole = findings_of(records)
    first = next(r for r in records if r.id == whole[0].id)
    spoilt = [replace(r, reading=replace(r.reading, frequency_hz=hz)) if r is first else r for r in records]
    assert findings_of(spoilt) == whole[1:]


def test_what_was_read_between_cleaning_and_demagnetising_is_a_stage_of_its_own() -> None:
    records = read_session(SESSION).readings
    clean = next(f for f in findings_of(records) if f.stage == "after-cleaning")
    found = {f.id: f for f in findings_of(records, magnetised={clean.id})}
    assert found[clean.id].stage == "before-demagnetising"
    assert sum(f.stage == "before-demagnetising" for f in found.values()) == 1


def test_what_was_read_before_demagnetising_stays_evidence_when_it_is_read_again() -> None:
    records = read_session(SESSION).readings
    first = next(r for r in records if r.id == next(f.id for f in findings_of(records) if f.stage == "after-cleaning"))
    again = replace(first, id="again", attempt=first.attempt + 1)
    stages = {f.id: f.stage for f in findings_of((*records, again), magnetised={first.id})}
    assert (stages[first.id], stages["again"]) == ("before-demagnetising", "after-cleaning")


def test_a_response_without_a_reference_is_relative_to_the_tone_of_the_level() -> None:
    level = Finding("1", "after-cleaning", "record-replay", "record_replay_level", "left", 0.2, "dB", frequency_hz=1000)
    at_315 = replace(level, id="2", quantity="response", frequency_hz=315)
    assert with_references([level, at_315], Machine())[1].reference_hz == 1000
    at_1k = replace(at_315, frequency_hz=1000)
    assert with_references([level, at_315, at_1k], Machine())[1].reference_hz == 400
