"""Trimmers: direction, range, backlash, stops."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.measure.meters import Options
from bench.practice.machine import PracticeMachine
from bench.practice.physics import MachinePhysics
from bench.practice.trimmers import STOP_DEGREES, Trimmer, draw_trimmers
from tests.cases import cases
from tests.measure.whole_array import level
from tests.practice.deck import QUIET, RATE, deck, run
from tests.results import a_reading


def trimmer(**more: float) -> Trimmer:
    facts = {"degrees": 0.0, "per_degree": 0.1, "backlash": 6.0, "error": 2.0} | more
    return Trimmer("replay level left", **facts)


def test_reversing_loses_the_backlash() -> None:
    t = trimmer()
    t.turn(-20.0)
    # Starting from the middle of its play, half of the play is lost.
    assert t.error == pytest.approx(2.0 - 0.1 * 17.0)
    t.turn(5.0)
    assert t.error == pytest.approx(0.3)
    t.turn(4.0)
    assert t.error == pytest.approx(0.3 + 0.1 * 3.0)


def test_it_ends_at_its_stop() -> None:
    t = trimmer()
    t.turn(1000.0)
    assert t.position.degrees == STOP_DEGREES
    before = t.error
    t.turn(10.0)
    assert t.error == before


def test_slow_settling() -> None:
    t = trimmer(settling_s=1.0, backlash=0.0)
    t.turn(-20.0)
    assert t.error == pytest.approx(2.0)
    t.settle(1.0)
    # 1 − 1/e of the turn after one time constant.
    assert t.error == pytest.approx(2.0 - 2.0 * 0.632, abs=0.001)


NAMES = [
    "replay level left",
    "replay level right",
    "replay equalisation left",
    "replay equalisation right",
    "replay azimuth",
    "speed",
    "bias left",
    "bias right",
    "record level left",
    "record level right",
    "record equalisation left",
    "record equalisation right",
    "record level control left",
    "record level control right",
    "output control",
]


def test_names() -> None:
    assert sorted(draw_trimmers(MachinePhysics(), 2, 1, 1.0)) == sorted(NAMES)
    assert sorted(draw_trimmers(MachinePhysics(), 3, 1, 1.0)) == sorted([*NAMES, "record azimuth"])


@cases(50)
@given(st.integers(0, 10**6), st.sampled_from([0.0, 14.0, -14.0]))
def test_the_right_setting_is_within_reach(seed: int, fault_arcmin: float) -> None:
    physics = MachinePhysics(replay_azimuth_arcmin=fault_arcmin)
    for t in draw_trimmers(physics, 3, seed, 1.0).values():
        way = -t.error / t.per_degree
        wanted = t.degrees + way + (t.backlash / 2 if way > 0 else -t.backlash / 2)
        assert abs(wanted) <= STOP_DEGREES - 10
        # Approached from that side, it is right.
        t.turn(wanted - t.degrees)
        assert t.error == pytest.approx(0.0, abs=1e-9)


def test_the_seed_draws_either_sense_and_up_to_6_db() -> None:
    drawn = [draw_trimmers(MachinePhysics(), 3, seed, 1.0)["replay level left"] for seed in range(100)]
    assert {t.per_degree > 0 for t in drawn} == {True, False}
    assert 5.0 < max(abs(t.error) for t in drawn) <= 6.0
    assert all(2.0 <= t.backlash <= 8.0 for t in drawn)


def heard_dbfs(machine: PracticeMachine) -> float:
    value = a_reading(level(run(machine, 0.5), RATE, Options(frequency=315.0)).readings[0]).value
    assert value is not None
    return value


def playing(settling_s: float) -> PracticeMachine:
    machine = deck({**QUIET, "trimmer_settling_s": settling_s})
    machine.load("reference")
    machine.rewind("level")
    machine.switch("transport", "play")
    run(machine, 0.3)
    return machine


def test_backlash_is_heard_as_a_turn_that_does_nothing() -> None:
    machine = playing(0.0)
    machine.turn("replay level left", 30.0)
    run(machine, 0.1)
    turned = heard_dbfs(machine)
    # 0.08 to 0.16 dB a degree, less half of at most 8 degrees of play.
    assert 26 * 0.08 < abs(turned + 12.0) < 30 * 0.16
    machine.turn("replay level left", -1.9)
    run(machine, 0.1)
    assert heard_dbfs(machine) == pytest.approx(turned, abs=0.002)
    machine.turn("replay level left", -20.0)
    run(machine, 0.1)
    assert abs(heard_dbfs(machine) - turned) > 12 * 0.08


def test_a_trimmer_that_settles_slowly_is_still_moving_when_it_is_read_at_once() -> None:
    machine, at_once = playing(1.0), playing(0.0)
    for of in (machine, at_once):
        of.turn("replay level left", 30.0)
    run(at_once, 0.02)
    goal = heard_dbfs(at_once) + 12.0
    # 1 − e^(−t) of the turn, in the middle of each half second that is read.
    for at_s in (0.25, 0.75, 1.25):
        share = (heard_dbfs(machine) + 12.0) / goal
        assert share == pytest.approx(1 - np.exp(-(at_s - 0.02)), abs=0.04), at_s
    run(machine, 4.5)
    assert heard_dbfs(machine) + 12.0 == pytest.approx(goal, abs=0.02)


def test_an_auto_reverse_deck_has_an_azimuth_screw_for_each_direction() -> None:
    plain = draw_trimmers(MachinePhysics(), 2, 7, 1.0)
    both = draw_trimmers(MachinePhysics(auto_reverse=True), 2, 7, 1.0)
    assert set(both) - set(plain) == {"replay azimuth reverse"}
    assert all(both[n].error == plain[n].error for n in plain), "the others are drawn as ever"
