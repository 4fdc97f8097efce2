"""A check tape is certified for what is recorded on it, not for what a machine with an error of replay reads."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from bench.measure.method import Method
from bench.measure.reading import Channel, NoReading, Reading
from bench.procedure.kinds.correct.certificate import certified
from bench.procedure.model.targets import Target, judge
from bench.procedure.state.journal import ReadingRecord
from tests.results import a_reading
from tests.session.made_up import START


def of_reference_tape(
    quantity: str, value: float, target: float, hz: float, channel: Channel = "left"
) -> ReadingRecord:
    """A reading ± 0.2 dB, which includes the uncertainty of the reference tape."""
    reading = Reading(quantity, channel, value, 0.2, frequency_hz=hz)
    verdict = judge(reading, Target(unit="dB", value=target, tolerance=2.0, source="common practice, no source"))
    return ReadingRecord("r1", "play", "left", True, "reference tape", reading, verdict, START)


RECORDS = (
    of_reference_tape("level", -14.0, -12.0, 315.0),  # an earlier reading, before it was set
    of_reference_tape("level", -10.8, -12.0, 315.0),
    of_reference_tape("level", -12.0, -12.0, 315.0, "right"),
    of_reference_tape("response", 0.4, 0.0, 1000.0),
    of_reference_tape("response", -2.4, 0.1, 10000.0),
)
BENCH: Any = SimpleNamespace(journal=SimpleNamespace(records=lambda: RECORDS))


def check(quantity: str, value: float, hz: float) -> Reading:
    return a_reading(certified(Reading(quantity, "left", value, 0.15, frequency_hz=hz, method=Method("level")), BENCH))


@pytest.mark.parametrize(
    ("quantity", "read", "hz", "recorded"),
    [
        ("record_replay_level", -1.2, 400.0, -2.4),  # replay reads 1.2 dB high
        ("response", -4.5, 9000.0, -2.0),  # and 2.5 dB low at the nearest tone
        ("response", 0.4, 1000.0, 0.0),
    ],
)
def test_the_error_of_replay_is_taken_off(quantity: str, read: float, hz: float, recorded: float) -> None:
    known = check(quantity, read, hz)
    assert known.value == pytest.approx(recorded)
    assert known.uncertainty == pytest.approx(0.25)  # 0.15 and 0.2
    assert known.method.replay_error_db == pytest.approx(read - recorded)


def test_without_the_reference_tape_it_says_so() -> None:
    bench: Any = SimpleNamespace(journal=SimpleNamespace(records=lambda: ()))
    known = a_reading(certified(Reading("response", "left", 0.4, 0.15, frequency_hz=1000.0), bench))
    assert (known.value, known.uncertainty, known.method.replay_unproved) == (0.4, 0.15, True)
    none = NoReading("response", "left", "the tone did not come back")
    assert certified(none, BENCH) is none
