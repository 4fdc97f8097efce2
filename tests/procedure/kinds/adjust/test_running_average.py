"""The running average of a wandering reading, for wander of a known spectrum."""

from __future__ import annotations

import numpy as np
import pytest

from bench.procedure.kinds.adjust.running_average import LONGEST_LOOK_S, RunningAverage

EVERY_S = 0.1


def wander(rng: np.random.Generator, corner_hz: float, seconds: float) -> np.ndarray:
    """A level that wanders by 0.25 dB rms below a corner, and by 0.1 dB rms below 0.05 Hz; means over half a second."""
    out = np.zeros(int(seconds / EVERY_S))
    for hz, rms in ((corner_hz, 0.25), (0.05, 0.1)):
        keep = np.exp(-2 * np.pi * hz * EVERY_S)
        state = rng.standard_normal()
        for n in range(out.size):
            out[n] += rms * state
            state = keep * state + np.sqrt(1 - keep**2) * rng.standard_normal()
    return np.convolve(out, np.full(5, 0.2), "valid")


def averaged(values: np.ndarray, expected: float = 0.015) -> RunningAverage:
    average = RunningAverage(expected)
    for n, value in enumerate(values):
        average.add(n * EVERY_S, float(value))
    return average


@pytest.mark.parametrize("corner_hz", [0.5, 1.0, 3.0])
@pytest.mark.parametrize("seconds", [5.0, 15.0])
def test_its_uncertainty_covers_the_machines_level(corner_hz: float, seconds: float) -> None:
    # Two standard deviations cover 95 %; a few seconds of slow wander are not enough for that, so 88 % are required.
    rng = np.random.default_rng([int(10 * corner_hz), int(seconds)])
    averages = [averaged(wander(rng, corner_hz, seconds)) for _ in range(200)]
    covered = np.mean([abs(a.mean or 9.0) <= a.uncertainty for a in averages])
    assert covered >= 0.88
    # Correct, not merely large.
    assert np.median([a.uncertainty for a in averages]) < 0.6


def test_a_clean_machine_is_known_after_a_second() -> None:
    average = averaged(np.full(12, -12.1))
    assert average.mean == pytest.approx(-12.1)
    assert average.uncertainty < 0.05
    assert average.look_s(1.2, 0.25) == 0.0


def test_a_turn_begins_a_new_average_and_keeps_the_scatter() -> None:
    rng = np.random.default_rng(5)
    average = averaged(wander(rng, 1.0, 12.0))
    before = average.scatter
    average.turned(13.0)
    assert average.mean is None
    average.add(12.5, 3.0)  # the head delay is not over
    assert average.since is None
    for n, value in enumerate(wander(rng, 1.0, 3.0)):
        average.add(13.0 + n * EVERY_S, float(value) + 3.0)
    assert average.mean == pytest.approx(3.0, abs=0.5)
    assert average.scatter == pytest.approx(before, rel=0.5)


def test_how_long_to_look_grows_with_what_is_asked() -> None:
    average = averaged(wander(np.random.default_rng(2), 2.0, 4.0))
    times = [average.look_s(4.0, allowed) for allowed in (2.0, 0.35, 0.01)]
    assert times[0] == 0.0
    assert times == sorted(times)
    assert times[2] == pytest.approx(LONGEST_LOOK_S - average.seconds(4.0))


def test_a_jump_is_told_from_wander() -> None:
    average = averaged(wander(np.random.default_rng(3), 1.0, 10.0))
    assert not average.jumped(0.3, 0.075)
    assert average.jumped(1.5, 0.075)
