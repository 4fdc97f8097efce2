"""The page of a diagnosis."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.diagnosis.answer import Suspect, diagnose
from bench.diagnosis.causes.table import CAUSES
from bench.diagnosis.machine import Machine
from bench.diagnosis.output.page import MOST_NOT_LOOKED_AT, finding_text, first_line, not_looked_at
from bench.diagnosis.readings.finding import Finding
from bench.diagnosis.settings import Setting

BLANK = diagnose(Machine(), [])
LIMITER = Suspect("limiter-left-in", "limiter left in", "both", 0.29, None, (), (), (), "switch it out")


def test_where_nothing_is_settled_that_nothing_is_wrong_is_named_too() -> None:
    told = first_line(replace(BLANK, suspects=(LIMITER,), nothing=0.45, not_in_list=0.12))
    assert told == ("not settled: nothing wrong, 45 %; limiter left in, 29 %; something that is not in the list, 12 %")


@pytest.mark.parametrize(
    ("quantity", "channel", "value", "unit", "told"),
    [
        ("response", "left", 2.0, "dB", "response 10 kHz, left, as left +2.00 dB"),
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
