"""The owner's tape on the practice machine: music alone shows at what angle it was recorded."""

from __future__ import annotations

import numpy as np
import pytest

from bench.practice.machine import PracticeMachine
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


def test_nobody_records_on_it() -> None:
    machine, _, _ = shipped("two-head-cassette", seed=4)
    machine.load("owners")
    with pytest.raises(Problem, match="the owner's tape is on the machine"):
        machine.switch("transport", "record")
    assert np.all(np.isfinite(run(machine, 0.1)))
