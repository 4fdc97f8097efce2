"""Every figure in an explaining sentence is in the record, with the meaning that the sentence gives it."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import product
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from bench.figures import hertz, number
from bench.measure.reading import Channel, Reading
from bench.measure.stage import Stage
from bench.procedure.model.targets import judge
from bench.procedure.state.journal import ReadingRecord
from bench.session.record.record import SCHEMA, SessionRecord
from bench.session.report.improvement import cleaning_sentence, line_up_sentence
from bench.session.report.owner_summary import owner_summary
from bench.words.figures import figure
from bench.words.names import CHANNELS
from tests.cases import cases
from tests.session.made_up import FLAT, JOB, RECORD_LEVEL, START, STEPS

STAGES: tuple[Stage, ...] = ("found-dirty", "found-clean", "left")
SIDES: tuple[Channel, ...] = ("left", "right")
TONES = (500.0, 4000.0, 10000.0)
BY = r"([\d.]+) ± ([\d.]+) dB"
FROM_TO = r"record-replay, (\w+): from (\S+) to (\S+) dB"
decibels = st.floats(-12.0, 6.0).map(lambda x: round(x, 2))


@st.composite
def sessions(draw: st.DrawFn) -> tuple[ReadingRecord, ...]:
    """Level and response from record to replay, both channels, at some or all stages."""
    out = []
    for stage, side in product(draw(st.lists(st.sampled_from(STAGES), min_size=1, unique=True)), SIDES):
        level = Reading(
            "record_replay_level", side, draw(decibels), 0.09, frequency_hz=500.0, reference="the level sent"
        )
        out.append((stage, level, RECORD_LEVEL))
        for hz in TONES:
            value = 0.0 if hz == 500.0 else draw(decibels)
            out.append((stage, Reading("response", side, value, 0.11, frequency_hz=hz, reference="500 Hz"), FLAT))
    return tuple(
        ReadingRecord(f"r{n}", s, s, s == "left", "record-replay", r, judge(r, target), START, -20.0)
        for n, (s, r, target) in enumerate(out)
    )


@cases(60)
@given(sessions())
def test_what_cleaning_and_alignment_gave_back(records: tuple[ReadingRecord, ...]) -> None:
    for sentence, before, after in (
        (cleaning_sentence(records), "found-dirty", "found-clean"),
        (line_up_sentence(records), "found-clean", "left"),
    ):
        said = sentence.replace("\N{NO-BREAK SPACE}", " ")
        # "gave back 1.50 ± 0.13 dB of level (…: from a to b dB", or with what was turned "… by 1.50 ± 0.13 dB (…".
        changes = re.findall(rf"{BY}[^(±]*\({FROM_TO}", said)
        for by, spread, side, old, new in changes:
            found = [
                (a, b)
                for a, b in product(records, records)
                if (a.stage, b.stage) == (before, after)
                and a.reading.quantity == b.reading.quantity
                and (a.reading.channel, a.reading.frequency_hz) == (b.reading.channel, b.reading.frequency_hz)
                and CHANNELS[a.reading.channel] == side
                and (_figure(a, b), _figure(b, a)) == (old, new)
            ]
            assert found, said
            assert float(spread) > 0
            assert any(number(abs(_value(b) - _value(a)), 2) == by for a, b in found), said
        left, have = said.count("from "), {r.stage for r in records}
        assert len(changes) == left
        assert not changes or {before, after} <= have


@cases(10)
@given(sessions())
def test_what_came_back_and_why(records: tuple[ReadingRecord, ...]) -> None:
    session = SessionRecord(
        Path("s"), SCHEMA, "tapebench", START, replace(JOB, port_kind=""), (), records, (), (), steps=STEPS
    )
    said = owner_summary(session)
    left = {r.stage for r in records} & {"left"}
    found = min((STAGES.index(r.stage) for r in records if r.stage != "left"), default=None)
    paragraphs = re.split(r"(?=(?:It|What is recorded) comes back)", said)
    stages = [STAGES[found]] if found is not None else []
    for paragraph, stage in zip([p for p in paragraphs if p], [*stages, *left], strict=True):
        here = [r for r in records if r.stage == stage]
        levels = {number(abs(_value(r)), 1) for r in here if r.reading.quantity == "record_replay_level"}
        for level in re.findall(r"came? back ([\d.]+) dB too|comes back ([\d.]+) dB too", paragraph):
            assert "".join(level) in levels, said
        for level in re.findall(r"the level that comes back (?:is|was) ([\d.]+) dB", paragraph):
            assert number(float(level), 1) in levels, said
        treble = {(number(abs(_value(r)), 1), hertz(r.reading.frequency_hz or 0.0)) for r in here}
        for db, hz in re.findall(r"([\d.]+) dB of treble \w+(?: much)? at ([\d.]+ k?Hz)", paragraph):
            assert (db, hz) in treble, said
        for db, hz in re.findall(r"the treble (?:is|was) ([\d.]+) dB \w+ at ([\d.]+ k?Hz)", paragraph):
            assert (number(float(db), 1), hz) in treble, said


def _value(record: ReadingRecord) -> float:
    assert record.measured is not None
    return record.measured.value


def _figure(record: ReadingRecord, other: ReadingRecord) -> str:
    """The figure, rounded to the last place of the uncertainty of the difference."""
    a, b = record.measured, other.measured
    assert a is not None
    assert b is not None
    return figure(a.value, a.unit, math.hypot(a.uncertainty, b.uncertainty))
