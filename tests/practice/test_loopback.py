"""The practice loop treats what is sent according to the figures of the interface."""

from __future__ import annotations

import numpy as np
import pytest

from bench.practice.loopback import RATE, LoopbackFacts, PracticeLoopback, loopback_facts
from bench.problem import Problem


def tone(hz: float, dbfs: float, seconds: float = 2.0) -> np.ndarray:
    n = np.arange(round(seconds * RATE))
    return np.repeat((10 ** (dbfs / 20) * np.sin(2 * np.pi * hz * n / RATE))[:, None], 2, axis=1)


def dbfs(x: np.ndarray, hz: float) -> float:
    """By projection onto the tone over whole cycles."""
    n = np.arange(len(x))
    return float(20 * np.log10(2 * abs(np.mean(x * np.exp(-2j * np.pi * hz * n / RATE)))))


def test_it_gives_back_what_was_sent_less_its_gain_at_every_level() -> None:
    for sent in (-6.0, -20.0, -60.0):
        loopback = PracticeLoopback(LoopbackFacts(gain_db=-3.0), seed=1)
        heard = loopback.process(tone(1000.0, sent))[RATE:]
        assert dbfs(heard[:, 0], 1000.0) == pytest.approx(sent - 3.0, abs=0.02)


def test_a_voltmeter_and_a_counter_read_the_output() -> None:
    # A sine of -6.02 dBFS is half of full scale: half of 1.95 V. 18 ppm of 10 kHz are 0.18 Hz.
    loopback = PracticeLoopback(LoopbackFacts(full_scale_output_v=1.95, clock_ppm=18.0), seed=1)
    loopback.process(tone(10000.0, -6.0206))
    assert loopback.voltmeter_v() == pytest.approx(0.975, rel=1e-4)
    assert loopback.counter_hz() == pytest.approx(10000.18, abs=1e-3)
    quiet = PracticeLoopback(LoopbackFacts(), seed=1)
    assert (quiet.voltmeter_v(), quiet.counter_hz()) == (0.0, 0.0)


def test_an_automatic_gain_lifts_what_is_soft_and_leaves_what_is_loud() -> None:
    loopback = PracticeLoopback(loopback_facts([("agc", {"automatic_gain": True, "gain_db": 0.0})]), seed=1)
    assert dbfs(loopback.process(tone(1000.0, -10.0))[RATE:, 0], 1000.0) == pytest.approx(-10.0, abs=0.1)
    assert dbfs(loopback.process(tone(1000.0, -50.0))[RATE:, 0], 1000.0) == pytest.approx(-20.0, abs=0.5)


def test_a_pole_loses_three_decibels_where_it_lies() -> None:
    loopback = PracticeLoopback(LoopbackFacts(gain_db=0.0, low_hz=100.0), seed=1)
    assert dbfs(loopback.process(tone(100.0, -10.0))[RATE:, 0], 100.0) == pytest.approx(-13.01, abs=0.05)


def test_what_it_does_not_know_is_told() -> None:
    with pytest.raises(Problem, match="did you mean automatic_gain"):
        loopback_facts([("x", {"automatic_gian": True})])
    with pytest.raises(Problem, match="must be a number"):
        loopback_facts([("x", {"gain_db": True})])
    with pytest.raises(Problem, match="true or false"):
        loopback_facts([("x", {"automatic_gain": 1.0})])
