"""Errors of a made-up machine's tape on another machine, computed directly from heads and amplifiers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from bench.measure.reading import Channel, Reading
from bench.problem import Problem
from bench.procedure.state.journal import ReadingRecord
from bench.session.compare.interchange import right_machine
from bench.session.compare.machine_errors import machine_errors
from bench.session.compare.transfer_errors import of_tape, on_another, on_itself
from bench.session.record.reader import read_session
from bench.session.record.record import SessionRecord
from bench.session.record.steps import StepFacts
from tests.session.fleet_of import HZ, READ_AT, Machine, delay, exchange, read_loss, session

SIDES: tuple[Channel, ...] = ("left", "right")
TWO = Machine("Two", 2, 0.8, -0.5, -2.0, 1.0, replay_tilt=6.0, fast_percent=0.7)
THREE = Machine("Three", 3, -0.3, 0.4, 0.5, -1.5, replay_tilt=-1.0, record_tilt=3.0, fast_percent=-0.2)
RIGHT = Machine("Right", 3)


@pytest.mark.parametrize("machine", [TWO, THREE])
def test_on_a_machine_that_is_right(machine: Machine, tmp_path: Path) -> None:
    traits = machine_errors(read_session(session(tmp_path, machine)), "left")
    found = on_another(traits, right_machine(traits), SIDES)
    for channel in found.errors.channels:
        level, _ = exchange(machine, RIGHT, 400.0)
        assert channel.errors.level_db == pytest.approx(level)
        for hz, db in channel.errors.treble:
            assert db == pytest.approx(exchange(machine, RIGHT, hz)[1], abs=1e-6)
        assert [hz for hz, _ in channel.errors.treble] == [hz for hz in HZ if hz != 400.0]
    assert found.errors.azimuth_delay_us == pytest.approx(delay(machine.written_tilt))
    assert found.errors.speed_error_percent == pytest.approx(-machine.fast_percent)


def test_on_another_machine(tmp_path: Path) -> None:
    recorded, replayed = (machine_errors(read_session(session(tmp_path, m)), "left") for m in (TWO, THREE))
    found = on_another(recorded, replayed, SIDES).errors
    level, treble = exchange(TWO, THREE, 10000.0)
    assert found.channels[1].errors.level_db == pytest.approx(level)
    assert dict(found.channels[1].errors.treble)[10000.0] == pytest.approx(treble, abs=1e-6)
    assert found.speed_error_percent == pytest.approx(-0.9)


def test_on_the_machine_itself(tmp_path: Path) -> None:
    found = on_itself(machine_errors(read_session(session(tmp_path, THREE)), "left"), SIDES)
    channel = found.errors.channels[0]
    assert channel.errors.level_db == pytest.approx(0.1)
    own = -1.0 + read_loss(4.0, 10000.0)
    assert dict(channel.errors.treble)[10000.0] == pytest.approx(own)
    assert found.errors.azimuth_delay_us == pytest.approx(delay(3.0) - delay(-1.0))
    assert found.errors.speed_error_percent == 0.0
    # Two readings of 0.1 dB each.
    assert dict(channel.uncertainty_db or ())[10000.0] == pytest.approx(0.1 * 2**0.5)
    assert dict(channel.uncertainty_db or ())[400.0] == pytest.approx(0.1)


def test_one_channel_of_two(tmp_path: Path) -> None:
    found = on_itself(machine_errors(read_session(session(tmp_path, TWO)), "left"), ("right",))
    assert len(found.errors.channels) == 1
    assert found.errors.azimuth_delay_us == 0.0


def test_a_session_without_the_readings_needed_is_named(tmp_path: Path) -> None:
    record = read_session(session(tmp_path, TWO))
    as_found = machine_errors(record, "found-clean")
    with pytest.raises(Problem, match="not enough was read of either"):
        on_another(as_found, right_machine(as_found), SIDES)
    with pytest.raises(Problem, match=r"does not give the level and response of the left channel as it was then"):
        on_itself(as_found, SIDES)
    with pytest.raises(Problem, match="of a capture of one channel"):
        on_itself(machine_errors(record, "left"), ("mono",))
    reel = machine_errors(read_session(session(tmp_path, Machine("Reel", 3, speed_mm_s=190.5))), "left")
    with pytest.raises(Problem, match="different tape speeds"):
        on_another(machine_errors(record, "left"), reel, SIDES)


def _of_tape(folder: Path, *lots: str) -> SessionRecord:
    """A session in which a tape from elsewhere was read: found, set, and returned."""

    def read(step: str, result: Reading, lot: str = "") -> ReadingRecord:
        return ReadingRecord(f"r{step}", step, "left", False, "owner's tape", result, None, READ_AT, lot=lot)

    levels = {1000.0: (-1.5, -1.0), 10000.0: (-4.5, 0.5)}
    tones = [
        read("tone", Reading("tape_level", side, db, 0.2, frequency_hz=hz))
        for hz, both in levels.items()
        for side, db in zip(SIDES, both, strict=True)
    ]
    azimuth = [
        read(step, Reading("azimuth_delay", "left-right", us, 4.0), lot)
        for lot in lots
        for step, us in (("found", 40.0), ("set", 2.0), ("returned", 39.0))
    ]
    speeds = [
        read("hum", Reading("speed_error", "both", 0.7, 0.2)),
        read("pitch", Reading("speed_error", "both", 0.8, 0.5)),
    ]
    steps = tuple(StepFacts(name, name, "measure", returns=name == "returned") for name in ("found", "set", "returned"))
    return replace(read_session(session(folder, TWO)), readings=(*tones, *speeds, *azimuth), steps=steps)


def test_a_tape_from_elsewhere_by_its_own_tones(tmp_path: Path) -> None:
    found = of_tape(_of_tape(tmp_path, ""), SIDES)
    assert found is not None
    left, right = (c.errors for c in found.errors.channels)
    assert (left.level_db, left.reference_hz, left.treble) == (-1.5, 1000.0, ((10000.0, -3.0),))
    assert (right.level_db, right.treble) == (-1.0, ((10000.0, 1.5),))
    assert found.errors.channels[0].uncertainty_db == ((1000.0, 0.2), (10000.0, 0.2))
    # The readings as set for the transfer, not as found or after turning back.
    assert (found.errors.azimuth_delay_us, found.azimuth_uncertainty_us) == (2.0, 4.0)
    assert (found.errors.speed_error_percent, found.speed_uncertainty_percent) == (0.7, 0.2)


def test_of_two_sides_no_azimuth_is_that_of_the_capture(tmp_path: Path) -> None:
    found = of_tape(_of_tape(tmp_path, "side A", "side B"), SIDES)
    assert found is not None
    assert (found.errors.azimuth_delay_us, found.azimuth_uncertainty_us) == (0.0, None)


def test_a_tape_without_a_tone_has_no_level(tmp_path: Path) -> None:
    read = _of_tape(tmp_path, "")
    without = replace(read, readings=tuple(r for r in read.readings if r.reading.quantity != "tape_level"))
    with pytest.raises(Problem, match="no tone of known flux in the left channel, so that the level"):
        of_tape(without, SIDES)
    assert of_tape(read_session(read.folder), SIDES) is None  # of a machine
