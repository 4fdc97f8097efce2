"""The errors that a session measured from recording to replay."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from bench.measure.method import Method
from bench.measure.reading import Channel, NoReading, Reading
from bench.problem import Problem
from bench.procedure.state.events import Switched
from bench.procedure.state.journal import ReadingRecord
from bench.session.compare.tracking_errors import measured_errors
from bench.session.record.reader import read_session
from bench.session.record.record import SessionRecord
from tests.session.made_up import START, whole


def made(quantity: str, value: float, hz: float, sent_db: float, **more: Any) -> ReadingRecord:
    channel: Channel = more.pop("channel", "left")
    reading = Reading(quantity, channel, value, 0.02, frequency_hz=hz, method=Method("steady tone"))
    kept = ReadingRecord("r", "step", "left", False, "record-replay", reading, None, START, sent_db)
    return replace(kept, **more)


@pytest.fixture
def session(tmp_path: Path) -> SessionRecord:
    return read_session(whole(tmp_path))


def of(session: SessionRecord, *records: ReadingRecord) -> SessionRecord:
    return replace(session, readings=records)


def test_each_channel_as_left_at_the_lowest_level(session: SessionRecord) -> None:
    found = measured_errors(
        of(
            session,
            made("record_replay_level", -4.0, 400.0, -20.0, stage="found-clean"),
            made("response", -9.0, 10000.0, -20.0, stage="found-clean"),
            made("record_replay_level", -0.9, 400.0, 0.0),
            made("record_replay_level", -0.5, 400.0, -20.0),
            made("record_replay_level", 0.3, 400.0, -20.0, channel="right"),
            made("response", -7.0, 10000.0, 0.0),
            made("response", -1.0, 10000.0, -20.0),
            made("response", 1.0, 63.0, -20.0),
            made("response", 0.6, 10000.0, -20.0, channel="right"),
            made("response", 5.0, 10000.0, -20.0, source="reference tape"),
        )
    )
    assert set(found.channels) == {"left", "right"}
    left, right = found.channels["left"], found.channels["right"]
    assert (left.level_db, sorted(left.treble)) == (-0.5, [(63.0, 1.0), (10000.0, -1.0)])
    assert (right.level_db, right.treble, right.channel) == (0.3, ((10000.0, 0.6),), "right")
    # Level and response together: √2 of 0.02 dB.
    assert left.uncertainty_db == pytest.approx(0.0283, abs=1e-4)
    assert found.said == "as left: level at −20 dB, response at −20 dB and 2 frequencies"


def test_the_last_reading_and_the_last_attempt_count(session: SessionRecord) -> None:
    found = measured_errors(
        of(
            session,
            made("record_replay_level", -3.0, 400.0, -20.0),
            made("record_replay_level", -2.0, 400.0, -20.0, step="other"),
            made("record_replay_level", -9.0, 400.0, -20.0, step="again"),
            made("record_replay_level", -1.0, 400.0, -20.0, step="again", attempt=2),
        )
    )
    assert found.channels["left"].level_db == -1.0
    assert found.said.endswith("no response was measured, so that treble counts as right")


def test_as_found_where_nothing_was_left(session: SessionRecord) -> None:
    found = measured_errors(of(session, made("record_replay_level", -3.0, 315.0, -20.0, stage="found-dirty")))
    assert found.channels["left"].level_db == -3.0
    assert found.channels["left"].reference_hz == 315.0
    assert found.said.startswith("as found, before cleaning: ")


def test_a_level_that_was_not_read_is_no_error(session: SessionRecord) -> None:
    silent = NoReading("record_replay_level", "left", "the tone was not heard", frequency_hz=400.0)
    with pytest.raises(Problem, match=r"no level was read from record to replay in this session"):
        measured_errors(of(session, made("record_replay_level", 0.0, 400.0, -20.0, reading=silent)))


def test_what_was_read_with_noise_reduction_in_is_no_error_of_the_machine(session: SessionRecord) -> None:
    found = measured_errors(
        of(
            session,
            made("record_replay_level", -1.0, 400.0, -20.0),
            made("response", -2.0, 10000.0, -20.0),
            made("response", -9.0, 10000.0, -40.0, step="tracking", noise_reduction="on"),
            made("record_replay_level", -1.5, 400.0, -20.0, step="out again"),
        )
    ).channels["left"]
    assert (found.level_db, found.treble) == (-1.5, ((10000.0, -2.0),))


def test_a_clock_that_is_set_back_hides_no_reading(session: SessionRecord) -> None:
    """The readings with noise reduction out have a later time of day than the switching in that followed."""
    late = START + timedelta(hours=2)
    readings = (
        made("record_replay_level", -1.5, 400.0, -20.0, time=late),
        made("response", -2.0, 10000.0, -20.0, time=late),
        made("record_replay_level", -9.0, 400.0, -40.0, step="tracking", noise_reduction="on"),
    )
    switched = (Switched("noise-reduction", "on", step="tracking", time=START),)
    found = measured_errors(replace(session, events=switched, readings=readings)).channels["left"]
    assert (found.level_db, found.treble) == (-1.5, ((10000.0, -2.0),))
