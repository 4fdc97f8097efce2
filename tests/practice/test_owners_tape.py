"""The owner's tape on the practice machine: music alone shows the azimuth at which it was recorded."""

from __future__ import annotations

import numpy as np
import pytest

from bench.practice.machine import PracticeMachine
from bench.practice.owners_tape import LABEL_NWB_M
from bench.problem import Problem
from tests.measure.whole_array import programme_delay
from tests.practice.deck import RATE, run
from tests.practice.test_shipped import shipped
from tests.results import a_reading

US_PER_ARCMIN = 5.497  # 0.9 mm at 47.625 mm/s: Δt = s·tan α/v


def played(machine: PracticeMachine, seconds: float = 6.0) -> float:
    machine.load("owners")
    machine.switch("transport", "play")
    reading = programme_delay(run(machine, seconds)[RATE // 2 :], RATE).readings[0]
    return a_reading(reading).value


def test_its_angle_is_heard_as_a_delay_and_follows_the_azimuth_screw() -> None:
    machine, _, _ = shipped("two-head-cassette", seed=4)
    first = played(machine)
    assert 4.0 * US_PER_ARCMIN - 1 < abs(first) < 12.0 * US_PER_ARCMIN + 1
    before = machine.truth()["replay azimuth"]
    machine.turn("replay azimuth", 12.0)
    moved = machine.truth()["replay azimuth"] - before
    assert played(machine) - first == pytest.approx(moved * US_PER_ARCMIN, abs=2.0)


def test_machines_of_other_seeds_have_other_tapes_and_the_same_seed_the_same() -> None:
    delays = [played(shipped("two-head-cassette", seed=n)[0], 3.0) for n in (4, 4, 5)]
    assert delays[0] == delays[1]
    assert abs(delays[2] - delays[0]) > 3.0


def phasor(machine: PracticeMachine, section: str | None, hz: float, seconds: float = 3.0) -> tuple[float, float]:
    """Level of the line near a frequency in the left channel, dB re full scale, and its frequency, Hz."""
    machine.rewind(section)
    machine.switch("transport", "play")
    sound = run(machine, seconds)[RATE // 2 :, 0]
    window = np.hanning(len(sound))
    spectrum = np.abs(np.fft.rfft(sound * window, 8 * len(sound)))
    at = np.fft.rfftfreq(8 * len(sound), 1 / RATE)
    near = np.flatnonzero(np.abs(at / hz - 1) < 0.03)
    top = near[np.argmax(spectrum[near])]
    return 20 * float(np.log10(2 * spectrum[top] / window.sum())), float(at[top])


def test_a_reel_has_tones_as_the_other_machine_recorded_them() -> None:
    machine, sheet, _ = shipped("open-reel-381-iec", seed=4)
    machine.load("owners")
    truth = machine.owners_tape.truth
    (level, hz), (treble, _) = (phasor(machine, f"{f:g} Hz", f) for f in (1000.0, 10000.0))
    # It ran fast when it recorded, so that its tape plays slow.
    assert hz == pytest.approx(1000 / (1 + truth.fast_percent / 100), abs=0.3)
    assert sheet.reference.fluxivity_nwb_m == LABEL_NWB_M
    assert level == pytest.approx(sheet.reference.replay_dbfs + truth.level_db, abs=0.4)
    width, angle = float(sheet.practice["track_width_mm"]), np.radians(truth.azimuth_arcmin[0] / 60)
    lost = 20 * np.log10(np.sinc(width * np.tan(angle) * 10000.0 / sheet.speed_mm_s))  # sin x / x, textbook
    assert treble - level == pytest.approx(truth.treble_db + lost, abs=0.7)


def test_its_two_sides_stand_at_angles_of_their_own() -> None:
    machine, _, _ = shipped("two-head-cassette", seed=4)
    angles = machine.owners_tape.truth.azimuth_arcmin
    found = []
    for side in (0, 1):
        machine.load("owners", side)
        machine.switch("transport", "play")
        reading = programme_delay(run(machine, 4.0)[RATE // 2 :], RATE).readings[0]
        found.append(a_reading(reading).value)
    assert found[0] - found[1] == pytest.approx((angles[1] - angles[0]) * US_PER_ARCMIN, abs=8.0)


def test_nobody_records_on_it() -> None:
    machine, _, _ = shipped("two-head-cassette", seed=4)
    machine.load("owners")
    with pytest.raises(Problem, match="the owner's tape is on the machine"):
        machine.switch("transport", "record")
    assert np.all(np.isfinite(run(machine, 0.1)))
