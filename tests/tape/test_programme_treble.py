"""Probability that a tape was recorded with the other time constant, against the textbook formula of both curves."""

from __future__ import annotations

import math

import pytest

from bench.tape.programme_treble import MOST, USUAL_FALL_DB, other_probability, other_time_constant, treble_rise_db


def curve_db(hz: float, us: float) -> float:
    """Flux over frequency of one time constant: 1 / √(1 + (2πfτ)²) (IEC 60094-1)."""
    return -10 * math.log10(1 + (2 * math.pi * hz * us * 1e-6) ** 2)


def test_how_much_brighter_the_wrong_replay_sounds() -> None:
    middle, treble = math.sqrt(400 * 1000), math.sqrt(5000 * 12500)
    # Recorded with 70 µs, the tape has more flux in the treble, and replay with 120 µs boosts it further.
    wanted = curve_db(treble, 70) - curve_db(middle, 70) - (curve_db(treble, 120) - curve_db(middle, 120))
    assert treble_rise_db(70.0, 120.0) == pytest.approx(wanted, abs=0.01)
    assert treble_rise_db(120.0, 70.0) == pytest.approx(-wanted, abs=0.01)


def test_treble_alone_never_decides() -> None:
    for fall in (-80.0, -20.0, 20.0):
        likely = other_probability(fall, 1.0, 120.0, "")
        assert likely is not None
        assert 1 - MOST <= likely <= MOST


def test_brighter_than_usual_speaks_for_70_and_the_shell_counts() -> None:
    def of(fall: float, shell: str, played: float = 120.0) -> float:
        found = other_probability(fall, 1.0, played, shell)  # type: ignore[arg-type]
        assert found is not None
        return found

    assert of(USUAL_FALL_DB + 8, "") > 0.5 > of(USUAL_FALL_DB - 4, "")
    assert of(USUAL_FALL_DB + 2, "II or IV") == pytest.approx(0.8, abs=0.02)  # halfway between both: the shell alone
    assert of(USUAL_FALL_DB + 2, "I") < 0.1
    assert of(USUAL_FALL_DB - 8, "", played=70.0) > 0.5  # a tape of 120 µs sounds dull with 70 µs


def test_a_reel_has_no_other_time_constant() -> None:
    assert other_time_constant(35.0) is None
    assert other_probability(-20.0, 1.0, 35.0, "") is None
