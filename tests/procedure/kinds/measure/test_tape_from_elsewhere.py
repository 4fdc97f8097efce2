"""A tape from elsewhere: its tones relative to its label, its treble, and what is reported about both."""

from __future__ import annotations

import math

import pytest

from bench.measure.reading import Channel, Reading
from bench.procedure.kinds.correct.owners_tape import relative_to_label, with_equalisation
from bench.procedure.kinds.measure.mistracking import _of_tones, _unknown
from bench.procedure.load.library import Library
from bench.procedure.state.answer import answer_to
from bench.procedure.state.journal import ReadingRecord
from bench.workspace import Workspace, shipped_procedures
from tests.results import a_reading, no_reading
from tests.session.made_up import START

JOB = Library(Workspace(shipped_procedures().parent)).load_job("foreign-tape")
FALL = Reading("treble_fall", "both", -22.0, 1.0)


def kept(reading: Reading, step: str = "a", lot: str = "") -> ReadingRecord:
    return ReadingRecord("r1", step, "found-clean", False, "owner's tape", reading, None, START, lot=lot)


def tone(channel: Channel, hz: float, db: float) -> ReadingRecord:
    return kept(Reading("tape_level", channel, db, 0.1, frequency_hz=hz), f"at {hz}")


def test_a_tone_relative_to_the_flux_on_its_label() -> None:
    level = Reading("level", "left", -14.0, 0.1, frequency_hz=1000.0)
    found = a_reading(relative_to_label(level, JOB, 200.0))
    # 250 nWb/m reads -12 dBFS on this machine, so that 200 nWb/m reads 20 lg(200 / 250) = 1.94 dB less.
    assert found.value == pytest.approx(-14.0 + 12.0 - 20 * math.log10(200 / 250), abs=1e-6)
    assert "its label says 200 nWb/m" in str(found.method)


def test_without_a_label_no_level_is_made_up() -> None:
    level = Reading("level", "left", -14.0, 0.1, frequency_hz=1000.0)
    assert "without it a level says nothing" in no_reading(relative_to_label(level, JOB, 0.0)).reason


def test_level_and_treble_of_the_tones_of_each_channel() -> None:
    records = [tone(side, hz, db) for side in ("left", "right") for hz, db in ((10000.0, -4.0), (1000.0, -1.5))]
    found = {(r.quantity, r.channel): r for r in _of_tones(records)}
    assert found["record_replay_level", "left"].value == -1.5
    treble = found["response", "right"]
    assert (treble.value, treble.frequency_hz) == (-2.5, 10000.0)
    assert treble.uncertainty == pytest.approx(0.1 * 2**0.5)


def test_where_no_level_is_known_it_is_said_what_an_error_would_do() -> None:
    said = _unknown("type-b")
    assert said.startswith("no level of this tape is known; an error of level is heard through a decoder as −")
    assert said.endswith("for +2 dB")


@pytest.mark.parametrize(
    ("shell", "said"),
    [
        ("type I", "120 µs is likely (95 %), not known"),
        ("type II or IV", "70 µs is likely (7"),
        ("it can't be seen", "120 µs is hardly likelier than not (6"),
    ],
)
def test_the_time_constant_is_likely_or_not_and_never_known(shell: str, said: str) -> None:
    fall = a_reading(with_equalisation(FALL, JOB, shell))
    answer = answer_to("foreign-tape", [kept(fall)])
    assert said in answer
    assert answer.endswith("level: not known, because no tone of known flux was read.")


def test_the_answer_names_each_side() -> None:
    delay = kept(Reading("azimuth_delay", "left-right", 53.1, 4.3), lot="side B")
    assert "azimuth, delay, left to right, side B: 53.1 ± 4.3 µs" in answer_to("foreign-tape", [delay])
