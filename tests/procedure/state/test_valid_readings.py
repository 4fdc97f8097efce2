"""An as-left reading counts only if nothing that it depends on was turned afterwards."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

from bench.measure.reading import Reading
from bench.measure.stage import Stage
from bench.procedure.state.events import Turned
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.valid_readings import valid_readings
from tests.session.made_up import START


@dataclass(frozen=True)
class Kind:
    kind: str
    sets_bias: bool = False


STEPS = {"coarse": Kind("adjust"), "fine": Kind("adjust"), "proof": Kind("reference"), "bias": Kind("adjust", True)}


def read(
    minute: float, step: str, quantity: str, hz: float, *, source: str = "reference tape", stage: Stage = "left"
) -> ReadingRecord:
    reading = Reading(quantity, "left-right", 1.0, 0.1, frequency_hz=hz)
    time = START + timedelta(minutes=minute)
    return ReadingRecord(f"r{minute}", step, stage, stage == "left", source, reading, None, time)  # type: ignore[arg-type]


def turned(minute: float, step: str, trimmer: str, *degrees: float) -> Turned:
    return Turned(trimmer, degrees, step=step, time=START + timedelta(minutes=minute))


COARSE, FINE = read(1, "coarse", "azimuth_delay", 1000.0), read(3, "fine", "azimuth_delay", 10000.0)
FOUND = read(0, "found", "azimuth_delay", 1000.0, stage="found-clean")


def ids(*readings: ReadingRecord, events: tuple[Turned, ...] = (), sees_turns: bool = True) -> list[str]:
    return [r.id for r in valid_readings(readings, events, STEPS, sees_turns=sees_turns)]


def test_azimuth_read_at_1_khz_before_the_last_turn_is_not_as_left() -> None:
    turns = (turned(2, "coarse", "replay azimuth", 9.0), turned(4, "fine", "replay azimuth", -2.0))
    assert ids(FOUND, COARSE, FINE, events=turns) == ["r0", "r3"]
    again = read(5, "proof", "azimuth_delay", 1000.0)
    assert ids(FOUND, COARSE, FINE, again, events=turns) == ["r0", "r3", "r5"]


def test_where_nothing_was_turned_since_it_holds() -> None:
    assert ids(COARSE, FINE, events=(turned(2, "coarse", "replay azimuth", 9.0),)) == ["r1", "r3"]
    assert ids(COARSE, FINE, events=(turned(4, "fine", "replay azimuth", 0.0),)) == ["r1", "r3"]
    assert ids(COARSE, FINE, events=(turned(4, "fine", "replay level left", 3.0),)) == ["r1", "r3"]


def test_what_a_trimmer_reaches_is_read_again() -> None:
    """Common practice, no source: bias changes level, response, distortion and noise of what is recorded."""
    level = read(1, "proof", "record_replay_level", 400.0, source="record-replay")
    noise = read(1.5, "proof", "noise", 1000.0, source="record-replay")
    replay = read(1.7, "proof", "response", 1000.0)
    bias = read(2, "bias", "response", 10000.0, source="record-replay")
    turns = (turned(3, "bias", "bias left", 4.0),)
    assert ids(level, noise, replay, bias, events=turns) == ["r1.7", "r2"]


def test_where_turns_are_not_seen_each_adjustment_is_taken_for_one() -> None:
    assert ids(COARSE, FINE, sees_turns=False) == ["r3"]
    level = read(1, "proof", "level", 400.0)
    assert ids(level, FINE, sees_turns=False) == ["r1", "r3"]
    response = read(2, "proof", "response", 10000.0)
    assert ids(response, FINE, sees_turns=False) == ["r3"]


def test_the_two_directions_are_apart() -> None:
    reverse = replace(COARSE, direction="reverse")
    assert ids(reverse, FINE, sees_turns=False) == ["r1", "r3"]
