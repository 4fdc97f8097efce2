"""The improvement by cleaning and adjustment."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from bench.measure.method import Method
from bench.measure.reading import Channel, Reading
from bench.measure.stage import Stage
from bench.measure.verdict import Verdict
from bench.procedure.state.journal import ReadingRecord
from bench.session.report.improvement import changes, cleaning_sentence, line_up_sentence
from tests.results import result
from tests.session.made_up import START


def record(
    stage: Stage, quantity: str, value: float | None, hz: float, *, channel: Channel = "left", **more: Any
) -> ReadingRecord:
    spread = 0.03 if stage == "found-dirty" else 0.04
    reading = result(quantity, channel, value, spread, frequency_hz=hz, method=Method("steady tone"))
    verdict = Verdict(word="out", target=-12.0 if quantity == "level" else 0.0, tolerance=0.5)
    kept = ReadingRecord("r", "step", stage, stage == "left", "record-replay", reading, verdict, START)
    return replace(kept, **more)


def told(*records: ReadingRecord) -> str:
    return cleaning_sentence(records).replace("\N{NO-BREAK SPACE}", " ")


def test_the_largest_change_of_treble_and_of_level() -> None:
    said = told(
        record("found-dirty", "response", -9.0, 1000.0),  # not treble, however large
        record("found-clean", "response", 0.0, 1000.0),
        record("found-dirty", "response", -5.0, 8000.0, channel="right"),
        record("found-clean", "response", -1.0, 8000.0, channel="right"),
        record("found-dirty", "response", -4.0, 10000.0),
        record("found-clean", "response", -1.0, 10000.0),
        record("found-dirty", "record_replay_level", -1.0, 400.0),
        record("found-clean", "record_replay_level", -0.4, 400.0),
    )
    assert said == (
        "Cleaning gave back 4.00 ± 0.05 dB of treble at 8 kHz (record-replay, right: from −5.00 to −1.00 dB), "
        "and 0.60 ± 0.05 dB of level (record-replay, left: from −1.00 to −0.40 dB)."
    )


def test_uncertainties_add_as_squares() -> None:
    (change,) = changes(
        (record("found-dirty", "response", -5.0, 8000.0), record("found-clean", "response", -1.0, 8000.0)),
        "found-dirty",
        "found-clean",
    )
    assert math.isclose(change.uncertainty, 0.05)
    assert math.isclose(change.by, 4.0)


def test_a_change_within_its_uncertainty_is_none() -> None:
    said = told(
        record("found-dirty", "response", -1.00, 8000.0),
        record("found-clean", "response", -0.96, 8000.0),
        record("found-dirty", "record_replay_level", -1.0, 400.0),
        record("found-clean", "record_replay_level", -1.2, 400.0),
    )
    assert said.startswith(
        "Cleaning left the treble where it was (0.04 ± 0.05 dB at 8 kHz at most, no more than its uncertainty)"
    )
    assert "and took away 0.20 ± 0.05 dB of level" in said


@pytest.mark.parametrize(
    "other",
    [
        {"source": "reference tape"},
        {"sent_db": -10.0},
        {"reading": Reading("response", "right", -1.0, 0.04, frequency_hz=8000.0, method=Method("steady tone"))},
        {"reading": Reading("response", "left", -1.0, 0.04, frequency_hz=10000.0, method=Method("steady tone"))},
        {"reading": Reading("response", "left", -1.0, 0.04, frequency_hz=8000.0, method=Method("another method"))},
        {
            "reading": Reading(
                "response", "left", -1.0, 0.04, frequency_hz=8000.0, method=Method("steady tone"), reference="1000 Hz"
            )
        },
        {
            "reading": Reading(
                "response", "left", -1.0, 0.04, frequency_hz=8000.0, method=Method("steady tone"), bound="at least"
            )
        },
    ],
    ids=["source", "level sent", "channel", "frequency", "method", "reference", "bound"],
)
def test_what_differs_is_never_compared(other: dict[str, Any]) -> None:
    before = record("found-dirty", "response", -5.0, 8000.0)
    after = record("found-clean", "response", -1.0, 8000.0)
    assert len(changes((before, after), "found-dirty", "found-clean")) == 1
    assert changes((before, replace(after, **other)), "found-dirty", "found-clean") == []


def test_the_last_reading_of_a_stage_counts() -> None:
    (change,) = changes(
        (
            record("found-dirty", "response", -9.0, 8000.0),
            record("found-dirty", "response", -5.0, 8000.0),
            record("found-clean", "response", -1.0, 8000.0),
        ),
        "found-dirty",
        "found-clean",
    )
    assert change.before == -5.0


def test_where_nothing_was_turned_what_was_read_after_cleaning_may_be_as_left() -> None:
    before, after = record("found-dirty", "response", -5.0, 8000.0), record("left", "response", -1.0, 8000.0)
    said = cleaning_sentence((before, after), adjusted=False).replace("\N{NO-BREAK SPACE}", " ")
    assert said.startswith("Cleaning gave back 4.00 ± 0.05 dB of treble at 8 kHz (record-replay, left: from −5.00")
    unknown = cleaning_sentence((after,), adjusted=False)
    assert unknown.endswith("is not known, because there is no reading before cleaning.")
    assert "no reading after cleaning" in cleaning_sentence((before, after), adjusted=True).replace("as found, ", "")


def test_why_it_cannot_be_told() -> None:
    after = record("found-clean", "response", -1.0, 8000.0)
    start = "What cleaning gave back is not known, because "
    assert told() == start + "there is no reading before cleaning and after cleaning."
    assert told(after) == start + "there is no reading before cleaning."
    failed = record("found-dirty", "response", None, 8000.0)
    assert told(failed, after) == start + "there is no reading before cleaning."
    other = record("found-dirty", "azimuth_delay", 3.0, 8000.0)
    assert told(other, after) == start + "no treble and no level was measured in the same way both before and after."
    both = told(record("found-dirty", "response", -5.0, 8000.0), after)
    assert both.endswith(
        "; what it did to the level is not known, because no level was measured both before and after."
    )


def test_alignment_says_which_way_and_what_is_right() -> None:
    said = line_up_sentence(
        (
            record("found-clean", "response", 3.0, 10000.0),
            record("left", "response", 0.2, 10000.0),
            record("found-clean", "level", -9.5, 315.0, source="reference tape"),
            record("left", "level", -12.1, 315.0, source="reference tape"),
        )
    ).replace("\N{NO-BREAK SPACE}", " ")
    assert said == (
        "The line-up lowered the treble at 10 kHz by 2.80 ± 0.06 dB (record-replay, left: from 3.00 to 0.20 dB, "
        "target 0), and lowered the level by 2.60 ± 0.06 dB (reference tape, left: from −9.50 to −12.10 dBFS, "
        "target −12)."
    )


def test_the_tape_of_several_is_named() -> None:
    found = (record("found-clean", "response", -6.0, 10000.0), record("found-clean", "level", -13.0, 400.0))
    left = (record("left", "response", 0.0, 10000.0), record("left", "level", -12.0, 400.0))
    told = line_up_sentence(tuple(replace(r, lot="chrome") for r in (*found, *left)))
    assert told.count("(record-replay, left, chrome: from") == 2
