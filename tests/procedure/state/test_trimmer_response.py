"""The response of a reading to a trimmer, learnt from rounds, for trimmers of either direction with play and a stop."""

from __future__ import annotations

import numpy as np
import pytest

from bench.practice.trimmers import Trimmer
from bench.procedure.state.trimmer_response import FIRST_TURN, LARGEST_TURN, TrimmerResponse


def rounds_to(trimmer: Trimmer, within: float, rng: np.random.Generator, most: int = 12) -> int:
    """Number of rounds until the reading is close enough, with noise of 0.02 and a law that bends by 1 % per unit."""
    learnt = TrimmerResponse()
    for n in range(1, most + 1):
        read = trimmer.error * (1 - 0.01 * abs(trimmer.error)) + rng.normal(0, 0.02)
        learnt.add(trimmer.degrees, read, 0.03)
        if abs(read) < within:
            return n
        low, high = -150.0 - trimmer.degrees, 150.0 - trimmer.degrees
        trimmer.turn(learnt.turn_to(0.0, low=low, high=high))
    return most + 1


def test_three_or_four_rounds_whatever_the_sense_slope_and_play() -> None:
    """Slopes, play and errors as the practice machine draws those of a level trimmer (0.5 dB of tolerance)."""
    rng = np.random.default_rng(1)
    counts = []
    for _ in range(150):
        slope = rng.uniform(0.08, 0.16) * rng.choice((-1.0, 1.0))
        play, error = rng.uniform(2.0, 8.0), rng.uniform(-6.0, 6.0)
        counts.append(rounds_to(Trimmer("t", degrees=0.0, per_degree=slope, backlash=play, error=error), 0.125, rng))
    assert np.mean(counts) < 4.0
    assert max(counts) <= 6


def test_what_is_kept_says_the_same_again() -> None:
    learnt = TrimmerResponse()
    for degrees, read in ((0.0, -4.0), (15.0, -2.6), (40.0, -0.1)):
        learnt.add(degrees, read, 0.03)
    learnt.begin_visit()
    learnt.add(40.0, 0.7, 0.03)
    back = TrimmerResponse.of(learnt.readings)
    assert back == learnt
    assert back.turn_to(0.0) == learnt.turn_to(0.0) != FIRST_TURN
    assert TrimmerResponse.of(()) == TrimmerResponse()


def test_first_it_turns_to_learn_and_on_when_nothing_moved() -> None:
    learnt = TrimmerResponse()
    assert learnt.turn_to(0.0) == 0.0
    learnt.add(0.0, 1.0, 0.02)
    assert learnt.turn_to(0.0) == FIRST_TURN
    learnt.add(FIRST_TURN, 1.0, 0.02)
    assert learnt.turn_to(0.0) == 2 * FIRST_TURN


def test_the_way_that_runs_away_is_turned_back() -> None:
    learnt = TrimmerResponse()
    learnt.add(0.0, 1.0, 0.02)
    learnt.add(15.0, 2.0, 0.02)
    assert learnt.turn_to(3.0) == pytest.approx(15.0, abs=4.0)  # same direction: 1 for 15 degrees, some of it play
    assert learnt.turn_to(0.0) < -25.0  # plus the play


def test_never_past_a_stop_and_never_far_at_once() -> None:
    learnt = TrimmerResponse()
    learnt.add(0.0, 1.0, 0.01)
    assert learnt.turn_to(0.0, low=-150.0, high=5.0) == -FIRST_TURN
    learnt.add(-15.0, 0.95, 0.01)
    assert learnt.turn_to(0.0) == -LARGEST_TURN
    assert learnt.turn_to(0.0, low=-20.0, high=100.0) == -20.0


def test_a_later_visit_keeps_the_slope_and_forgets_the_reading() -> None:
    learnt = TrimmerResponse()
    for degrees, read in ((0.0, 3.0), (20.0, 1.0), (30.0, 0.0)):
        learnt.add(degrees, read, 0.02)
    learnt.begin_visit()
    assert learnt.points == ()
    assert learnt.stands_at == 30.0
    learnt.add(30.0, 1.0, 0.02)
    assert learnt.turn_to(0.0) == pytest.approx(10.0, abs=1.0)
