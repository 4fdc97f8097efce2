"""What rehearsals and plain runs print when something is kept."""

from __future__ import annotations

from pathlib import Path

from bench.measure.reading import NoReading, Reading, Result
from bench.procedure.model.targets import Target, judge
from bench.procedure.run.narrated_journal import NarratedJournal
from bench.procedure.state.events import Turned
from bench.procedure.state.journal import ReadingRecord
from tests.session.made_up import START, begin

DECIBELS = Target(unit="dB", source="a sheet", tolerance=0.5, value=-1.0)
LIMIT = Target(unit="dB", source="a sheet", at_least=60.0)


def lines(tmp_path: Path, *readings: tuple[Result, Target | None]) -> list[str]:
    said: list[str] = []
    journal = NarratedJournal(begin(tmp_path).store, said.append, {"found": "As found"})
    for reading, target in readings:
        verdict = judge(reading, target) if target else None
        journal.keep((ReadingRecord("r0001", "found", "left", False, "machine", reading, verdict, START),))
    journal.note(Turned("bias left", (6.0,), step="found", time=START))
    return said


def test_kept_readings_are_said_with_their_limits_and_bounds(tmp_path: Path) -> None:
    assert lines(
        tmp_path,
        (Reading("response", "left", -1.2, 0.044, frequency_hz=10000.0), DECIBELS),
        (Reading("erasure", "right", 69.97, 0.0, frequency_hz=1000.0, bound="at least"), LIMIT),
        (Reading("separation", "left-right", 45.1, 0.02), None),
        (NoReading("erasure", "left", "the tone was not recorded"), LIMIT),
    )[:4] == [
        "accepted r0001 found: response, left, 10 kHz: −1.20 ± 0.05 dB, target −1 ± 0.5: in",
        "accepted r0001 found: erasure, right, 1 kHz: at least 69.9 dB, target at least 60: in",
        "accepted r0001 found: separation, left to right: 45.10 ± 0.02 dB",
        "accepted r0001 found: erasure, left: no reading, because the tone was not recorded",
    ]


def test_an_event_is_said_once_it_is_kept(tmp_path: Path) -> None:
    assert lines(tmp_path) == ["turns found: bias left: adjusted once, net 6° clockwise"]
