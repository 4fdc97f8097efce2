"""Speed and its drift from a tone's frequency."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.meters import Options
from bench.measure.quantities.speed import assume_nominal
from tests.measure.captures import reading, result, value
from tests.measure.spoiled import Tone, after, hiss, silence, stereo
from tests.measure.whole_array import speed
from tests.results import no_reading

RATE = 48000.0


def capture(hz: float, error: float = 0.0, seconds: float = 3.0) -> np.ndarray:
    x = after([silence(0.3, RATE), stereo(Tone(hz, -10.0, seconds, speed=error, flutter=((4.0, 0.001),)), RATE)])
    return np.asarray(x + hiss(len(x), -60.0, RATE, np.random.default_rng(0)))


@pytest.mark.parametrize("percent", [-3.0, -0.4, 0.0, 1.7, 2.3])
def test_positive_is_fast(percent: float) -> None:
    measured = speed(capture(3150.0, percent / 100.0), RATE, Options(nominal=3150.0))
    for channel in ("left", "right"):
        r = reading(measured, "speed_error", channel=channel)
        assert r.value == pytest.approx(percent, abs=1e-5)
        assert r.frequency_hz == 3150.0
        assert 0.0 < r.uncertainty < 1e-5


@pytest.mark.parametrize(("there", "named"), [(3000.0, 3150.0), (3150.0, 3000.0)])
def test_the_other_speed_tone_is_no_speed_error(there: float, named: float) -> None:
    r = no_reading(result(speed(capture(there), RATE, Options(nominal=named)), "speed_error", channel="left"))
    assert f"{there / 1000:g} kHz" in r.reason
    assert f"{named / 1000:g} kHz" in r.reason


def test_a_speed_error_that_comes_near_the_other_tone_is_read_with_a_warning() -> None:
    measured = speed(capture(3150.0, -0.03), RATE, Options(nominal=3150.0))
    assert value(measured, "speed_error", channel="left") == pytest.approx(-3.0, abs=1e-4)
    assert any("3 kHz" in w and "3.15 kHz" in w for w in measured.warnings)


def test_without_nominal_the_usual_tone_is_assumed_and_said() -> None:
    r = reading(speed(capture(3150.0, 0.005), RATE), "speed_error", channel="left")
    assert r.value == pytest.approx(0.5, abs=1e-4)
    assert r.method.assumed_hz == 3150.0
    between = no_reading(result(speed(capture(3075.0), RATE), "speed_error", channel="left"))
    assert "3 kHz or 3.15 kHz" in between.reason
    assert assume_nominal(1009.0) == 1000.0
    assert assume_nominal(7000.0) is None


def test_drift_is_end_minus_start() -> None:
    t = np.arange(round(8 * RATE)) / RATE
    turns = 3150.0 * (t + 0.5 * 0.002 * t**2 / 8.0)
    x = 0.3 * np.sin(2 * np.pi * turns)
    measured = speed(
        np.stack([x, x], axis=1) + hiss(len(x), -60.0, RATE, np.random.default_rng(1)), RATE, Options(nominal=3150.0)
    )
    assert value(measured, "speed_drift", channel="left") == pytest.approx(0.2, abs=0.001)
    assert value(measured, "speed_error", channel="left") == pytest.approx(0.1, abs=0.001)


def test_no_reading_because() -> None:
    def why(x: np.ndarray, nominal: float) -> str:
        r = no_reading(result(speed(x, RATE, Options(nominal=nominal)), "speed_error", channel="left"))
        return r.reason

    assert why(silence(2.0, RATE), 3150.0) == "the capture is silent"
    assert "half the sample rate" in why(capture(1000.0), 30000.0)
    assert "only 1000.0 Hz" in why(capture(1000.0), 3150.0)
