"""The page of a diagnosis."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.diagnosis.answer import Suspect, diagnose
from bench.diagnosis.causes.table import CAUSES
from bench.diagnosis.machine import Machine
from bench.diagnosis.output.page import MOST_NOT_LOOKED_AT, curve_text, finding_text, first_line, not_looked_at
from bench.diagnosis.readings.adjustable import out_of_adjustment
from bench.diagnosis.readings.finding import Finding, Stage
from bench.diagnosis.settings import Setting
from bench.session.report.causes import cause_sentences

BLANK = diagnose(Machine(), [])
LIMITER = Suspect("limiter-left-in", "limiter left in", "both", 0.29, None, (), (), (), "switch it out")


def test_where_nothing_is_settled_that_nothing_is_wrong_is_named_too() -> None:
    told = first_line(replace(BLANK, suspects=(LIMITER,), nothing=0.45, not_in_list=0.12))
    assert told == ("not settled: nothing wrong, 45 %; limiter left in, 29 %; something that is not in the list, 12 %")


def test_what_still_stands_is_named_before_what_was_mended_on_the_way() -> None:
    stands = replace(LIMITER, probability=0.9)
    mended = Suspect("dirt", "dirt on the replay head", "both", 0.99, None, (), (), (), "clean", gone=True)
    assert first_line(replace(BLANK, suspects=(mended, stands))) == "limiter left in: very likely, 90 %"
    alone = first_line(replace(BLANK, suspects=(mended, LIMITER)))
    assert alone == "dirt on the replay head: almost certainly, 99 %, and mended on the way"


def test_a_machine_without_a_fault_that_is_out_needs_lining_up() -> None:
    low, high = (
        Finding(str(n), "as-left", "record-replay", "record_replay_level", "right", db, "dB", frequency_hz=400.0)
        for n, db in enumerate((-0.3, 7.37))
    )
    found = diagnose(Machine(), [low, replace(high, channel="left")])
    assert found.out_of_adjustment == (replace(high, channel="left"),)
    healthy = replace(found, suspects=(), nothing=0.82)
    assert first_line(healthy).startswith(
        "no fault, as far as was measured (very likely, 82 %), but it needs lining up: "
    )
    assert first_line(healthy).endswith("400 Hz, left, as left +7.37 dB")
    assert (
        first_line(replace(healthy, out_of_adjustment=())) == "nothing wrong, as far as was measured: very likely, 82 %"
    )


def test_the_curve_of_a_cause_is_given_over_the_measured_one() -> None:
    lost = {1000.0: -0.9, 4000.0: -4.1, 8000.0: -8.3, 10000.0: -10.4}  # a film of 0.9 µm: 54.6 dB for each wavelength
    dull = [
        Finding(f"{c}{hz}", "before-cleaning", "record-replay", "response", c, db, "dB", frequency_hz=hz)
        for c in ("left", "right")
        for hz, db in lost.items()
    ]
    first = diagnose(Machine(), dull).suspects[0]
    assert [f.frequency_hz for f, _ in first.curve] == list(lost)
    assert [db for _, db in first.curve] == pytest.approx(list(lost.values()), abs=1.0)
    assert curve_text(first).startswith("record replay, ")
    assert "10 kHz −10.4 (−" in curve_text(first)


def test_causes_that_read_alike_are_one_sentence_of_the_report_with_what_cleaning_gave_back() -> None:
    lost = {1000.0: -0.9, 4000.0: -4.1, 8000.0: -8.3, 10000.0: -10.4}
    stages: tuple[tuple[Stage, float], ...] = (("before-cleaning", 1.0), ("after-cleaning", 0.1))
    read = [
        Finding(f"{stage}{c}{hz}", stage, "record-replay", "response", c, db, "dB", frequency_hz=hz)
        for stage, share in stages
        for c in ("left", "right")
        for hz, db in ((hz, share * db) for hz, db in lost.items())
    ]
    first, second = cause_sentences(diagnose(Machine(), read))[:2]
    assert "dirt on the replay head" in first.lower()
    assert "dirt on the record head, which read alike: almost certainly" in first
    assert first.endswith("Mended by: clean, which was done.")
    assert second.startswith("Cleaning gave back 9.4 dB at 10 kHz, ")


def test_a_tolerance_that_is_given_counts_instead_of_the_usual_one() -> None:
    high = Finding("1", "as-left", "reference-tape", "level", "left", 1.8, "dB")
    assert out_of_adjustment([high]) == (high,)
    assert out_of_adjustment([replace(high, out=False)]) == ()


def test_what_was_out_before_it_was_read_again_is_not_out() -> None:
    before = Finding("1", "after-cleaning", "reference-tape", "level", "left", 3.0, "dB")
    after = replace(before, stage="as-left", value=0.1)
    assert out_of_adjustment([before]) == (before,)
    assert out_of_adjustment([before, after]) == ()


@pytest.mark.parametrize(
    ("quantity", "channel", "value", "unit", "told"),
    [
        ("response", "left", 2.0, "dB", "response 10 kHz, left, reference tape, as left +2.00 dB"),
        ("erasure", "right", 62.0, "dB", "erasure 10 kHz, right, as left 62.00 dB"),
        ("speed_error", "both", -0.5, "%", "speed error 10 kHz, as left −0.50 %"),
    ],
)
def test_an_error_has_its_sign_and_a_channel_is_named_where_it_is_one(
    quantity: str, channel: str, value: float, unit: str, told: str
) -> None:
    finding = Finding("1", "as-left", "reference-tape", quantity, channel, value, unit, frequency_hz=10e3)
    assert finding_text(finding) == told


def test_a_long_list_of_what_nothing_has_looked_at_is_cut() -> None:
    names = tuple(c.name for c in CAUSES)
    (told,) = not_looked_at(replace(BLANK, not_looked_at=names))
    assert told.endswith(f"; and {len(names) - MOST_NOT_LOOKED_AT} more.")
    assert not_looked_at(replace(BLANK, not_looked_at=())) == []


def test_a_trimmer_is_out_where_somebody_would_turn_it() -> None:
    assert not Setting("speed", "both", "as found", 0.12, "%", 0.08).out
    assert Setting("speed", "both", "as found", 0.5, "%", 0.08).out
    assert not Setting("speed", "both", "as found", 0.5, "%", 0.6).out


@pytest.mark.parametrize(("target", "text"), [(False, "−0.50 dB"), (True, "−0.50 dB from its target")])
def test_a_departure_from_a_target_is_not_taken_for_the_reading(target: bool, text: str) -> None:
    read = Finding("1", "as-left", "reference-tape", "response", "left", -0.5, "dB", from_target=target)
    assert finding_text(read) == f"response, left, reference tape, as left {text}"
