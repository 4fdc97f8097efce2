"""MOL and SOL of a curve whose harmonics are known."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from bench.measure.meters import Options
from bench.measure.quantities.headroom import K3_DB, crossing
from tests.measure.captures import clock, hiss, mono, reading, result, value
from tests.measure.whole_array import headroom
from tests.results import no_reading

RATE = 48000.0
SATURATION = 0.4


def curve(x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(SATURATION * np.tanh(x / SATURATION))


def rising(hz: float, low: float, high: float, seconds: float, step: float | None = None) -> NDArray[np.float64]:
    t = clock(seconds, RATE)
    db = low + (high - low) * t / seconds
    if step:
        db = low + step * np.floor((high - low) / step * t / seconds + 1e-9)
    turns = t + 1e-3 / (2 * np.pi * 4.0) * np.sin(2 * np.pi * 4.0 * t)
    return np.asarray(10.0 ** (db / 20.0) * np.sin(2 * np.pi * hz * turns))


def level_at_3_percent() -> float:
    """By the Fourier series of one period: where the third harmonic is 3 % (K3 = −30.46 dB, DIN 45500)."""
    turn = np.linspace(0.0, 2 * np.pi, 4096, endpoint=False)

    def series(peak: float) -> NDArray[np.float64]:
        return np.abs(np.fft.rfft(curve(peak * np.sin(turn)))) / 2048.0

    drive = brentq(lambda a: series(a)[3] / series(a)[1] - 0.03, 0.01, 2.0)
    return float(20.0 * np.log10(series(drive)[1]))


@pytest.mark.parametrize("hz", [315.0, 1000.0])
@pytest.mark.parametrize(("seconds", "step"), [(12.0, None), (12.0, 1.0), (12.0, 2.0)])
def test_mol_of_a_rising_tone(hz: float, seconds: float, step: float | None) -> None:
    x = curve(rising(hz, -18.0, 0.0, seconds, step)) + hiss(-60.0, seconds)[:, 0]
    told = reading(headroom(mono(x), RATE, Options(reference_level=-15.0)), "maximum_output_level")
    assert told.value == pytest.approx(level_at_3_percent() + 15.0, abs=0.05)
    assert told.frequency_hz == pytest.approx(hz, rel=1e-3)
    assert told.reference == "-15 dBFS"


def test_mol_is_not_found_in_the_noise_of_a_low_level() -> None:
    x = curve(rising(315.0, -50.0, 0.0, 25.0)) + hiss(-55.0, 25.0)[:, 0]
    assert value(headroom(mono(x), RATE), "maximum_output_level") == pytest.approx(level_at_3_percent(), abs=0.05)


def test_a_tone_that_never_gets_there_bounds_its_mol() -> None:
    told = headroom(mono(curve(rising(315.0, -30.0, -14.0, 8.0))), RATE)
    r = reading(told, "maximum_output_level")
    assert r.bound == "at least"
    assert -16.0 < r.value < level_at_3_percent()
    assert any("only" in w for w in told.warnings)


def test_a_tone_that_begins_too_high_or_does_not_rise_has_no_mol() -> None:
    high = no_reading(result(headroom(mono(curve(rising(315.0, -6.0, 4.0, 6.0))), RATE), "maximum_output_level"))
    assert "3 %" in high.reason
    level = no_reading(result(headroom(mono(curve(rising(315.0, -20.0, -20.0, 6.0))), RATE), "maximum_output_level"))
    assert "rise" in level.reason


@pytest.mark.parametrize("step", [None, 2.0])
def test_sol_of_a_tone_that_saturates_and_falls(step: float | None) -> None:
    # Output y = d / (1 + d²): highest, 1/2 of full scale, at d = 1 (calculus).
    drive = np.abs(rising(10000.0, -20.0, 8.0, 14.0, step))
    envelope = 10.0 ** ((-20.0 + 28.0 * np.arange(len(drive)) / len(drive)) / 20.0)
    if step:
        envelope = 10.0 ** ((-20.0 + step * np.floor(28.0 / step * np.arange(len(drive)) / len(drive) + 1e-9)) / 20.0)
    y = envelope / (1.0 + envelope**2) * np.sin(2 * np.pi * 10000.0 * np.arange(len(drive)) / RATE)
    told = headroom(mono(y + hiss(-60.0, 14.0)[:, 0]), RATE, Options(reference_level=-10.0))
    assert value(told, "saturated_output_level") == pytest.approx(-6.02 + 10.0, abs=0.06)


def test_sol_that_still_rises_is_at_least_so_much() -> None:
    told = headroom(mono(rising(10000.0, -30.0, -10.0, 8.0)), RATE)
    r = reading(told, "saturated_output_level")
    assert r.bound == "at least"
    assert any("still rises" in w for w in told.warnings)


def test_both_from_one_capture_and_per_channel() -> None:
    low = curve(rising(315.0, -18.0, 0.0, 9.0))
    high = 0.05 * np.tanh(rising(10000.0, -30.0, 6.0, 12.0) / 0.05)
    x = np.concatenate([low, np.zeros(24000), high])
    told = headroom(np.stack([x, 0.5 * x], axis=1), RATE)
    left = value(told, "maximum_output_level", channel="left")
    assert left == pytest.approx(level_at_3_percent(), abs=0.05)
    assert value(told, "maximum_output_level", channel="right") == pytest.approx(left - 6.02, abs=0.02)
    # The fundamental of a square wave of peak 0.05 is 4/π of it.
    expected = 20.0 * np.log10(0.05 * 4.0 / np.pi)
    assert value(told, "saturated_output_level", channel="left") == pytest.approx(expected, abs=0.1)
    assert any("--reference-level" in w for w in told.warnings)


@pytest.mark.parametrize("step_db", [0.5, 2.0, 3.0, 6.0])
def test_coarse_steps_are_as_uncertain_as_the_bend_between_them(step_db: float) -> None:
    """The third harmonic of a tape rises by 2 dB per dB, and faster near saturation, where a straight line errs."""
    rng = np.random.default_rng(5)
    covered = []
    for _ in range(200):
        x = step_db * np.arange(-12, 13) + rng.uniform(-0.5, 0.5) * step_db
        x = x[(x > -14.0) & (x < 8.0)]
        third = K3_DB + 2.0 * x + 0.12 * x * np.abs(x) + 0.1 * x**2 + 0.02 * rng.standard_normal(len(x))
        value, uncertainty, _ = crossing(x.astype(np.float64), third.astype(np.float64))
        covered.append(abs(value) <= uncertainty)
    assert np.mean(covered) >= 0.93


@pytest.mark.parametrize("levels", [(-10.0, -20.0), (-20.0, -10.0), (-20.0, -10.0, 0.0)])
def test_the_tones_of_a_response_do_not_show_where_the_tape_saturates(levels: tuple[float, ...]) -> None:
    x = np.concatenate([part for db in levels for part in (rising(10000.0, db, db, 5.0), np.zeros(24000))])
    told = headroom(mono(x + hiss(-60.0, len(x) / RATE)[:, 0]), RATE)
    assert "gradually" in no_reading(result(told, "saturated_output_level")).reason
