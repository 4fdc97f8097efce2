"""Hypothesis strategies for the readings and events of sessions."""

from __future__ import annotations

from dataclasses import fields
from datetime import datetime, timedelta, timezone
from typing import get_args

from hypothesis import strategies as st

from bench.measure.catalogue import QUANTITIES
from bench.measure.method import Method
from bench.measure.reading import Channel, NoReading, Reading, ReferenceTone
from bench.measure.stage import Stage
from bench.measure.verdict import Verdict, VerdictWord
from bench.procedure.state.event_kinds import KINDS, Event
from bench.procedure.state.events import Done
from bench.procedure.state.journal import ReadingRecord
from bench.session.record.record import JobFacts, TrimmerTurns
from bench.session.record.steps import StepCaution, StepFacts

finite = st.floats(-1e15, 1e15)
letters = st.characters(exclude_categories=["Cs", "Cc", "Cf", "Zl", "Zp"])
some_text = st.text(letters, min_size=1, max_size=40)
zones = st.integers(-14 * 60, 14 * 60).map(lambda m: timezone(timedelta(minutes=m)))
times = st.datetimes(datetime(1970, 1, 2), datetime(2200, 1, 1), timezones=zones)  # noqa: DTZ001 - zones are drawn

described = {
    "quantity": st.sampled_from(sorted(QUANTITIES)),
    "channel": st.sampled_from(get_args(Channel)),
    "frequency_hz": st.none() | finite,
    "method": st.builds(
        Method,
        st.text(letters, max_size=20),
        tones=st.none() | st.integers(2, 9),
        inverted=st.booleans(),
        lines_hz=st.lists(finite, max_size=3).map(tuple),
        part=st.none() | some_text,
        certificate_db=st.none() | finite,
    ),
    "reference": st.text(letters, max_size=20) | st.builds(ReferenceTone, finite, st.none() | finite),
}
readings = st.builds(NoReading, **described, reason=some_text) | st.builds(
    Reading,
    **described,
    value=finite,
    uncertainty=finite,
    bound=st.none() | st.sampled_from(["at least", "at most"]),
    time_s=st.none() | finite,
)
verdicts = st.builds(
    Verdict,
    word=st.sampled_from(get_args(VerdictWord)),
    target=finite,
    tolerance=st.none() | finite,
    source=st.text(letters, max_size=20),
    limit=st.sampled_from(["", "at least", "at most"]),
)
records = st.builds(
    ReadingRecord,
    id=some_text,
    step=some_text,
    stage=st.sampled_from(get_args(Stage)),
    judged=st.booleans(),
    source=st.sampled_from(["reference tape", "record-replay", "owner's tape", "machine"]),
    reading=readings,
    verdict=st.none() | verdicts,
    time=times,
    sent_db=st.none() | finite,
    accepted_because=st.text(letters, max_size=20),
    attempt=st.integers(1, 99),
    lot=st.text(letters, max_size=10),
    direction=st.sampled_from(["", "reverse"]),
)
st.register_type_strategy(str, st.text(letters))
st.register_type_strategy(int, st.integers(-(10**9), 10**9))
st.register_type_strategy(float, finite)  # figures of events are always finite
events: st.SearchStrategy[Event] = st.one_of(
    [
        st.builds(kind, time=times, **{field.name: ... for field in fields(kind) if field.name != "time"})
        for kind in KINDS.values()
        if kind is not Done
    ]
)
steps = st.builds(
    StepFacts,
    id=some_text,
    title=st.text(letters, max_size=40),
    kind=st.text(letters, max_size=10),
    stage=st.sampled_from(get_args(Stage)),
    target=st.text(letters, max_size=20),
    direction=st.sampled_from(["", "forward", "reverse"]),
    lot=st.text(letters, max_size=10),
    complaint=st.booleans(),
    noise_reduction=st.booleans(),
    cautions=st.lists(st.builds(StepCaution), max_size=2).map(tuple),
)
jobs = st.builds(
    JobFacts,
    machine=st.text(letters, max_size=30),
    tape=st.text(letters, max_size=30),
    reference_tape=st.text(letters, max_size=30),
    procedure=st.text(letters, max_size=30),
    speed=st.text(letters, max_size=30),
    equalisation=st.text(letters, max_size=30),
    reference_level=st.text(letters, max_size=30),
    heads=st.sampled_from([2, 3]),
    port=st.text(letters, max_size=30),
    port_kind=st.text(letters, max_size=10),
    sample_rate=st.integers(0, 400_000),
    calibration=st.text(letters, max_size=30),
    procedure_id=st.text(letters, max_size=20),
    seed=st.integers(0, 2**31),
    turned_before=st.lists(st.builds(TrimmerTurns), max_size=2).map(tuple),
)
