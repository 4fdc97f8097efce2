"""Response re the reference frequency, on captures of tones in any order."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.meters import Options
from bench.measure.quantities.response import usual_reference
from bench.measure.reading import Measured, NoReading, ReferenceTone
from tests.measure.captures import reading, readings, result, value
from tests.measure.spoiled import Tone, after, hiss, silence, stereo
from tests.measure.whole_array import response
from tests.results import no_reading

RATE = 48000.0


def capture(*tones: tuple[float, float], speed: float = 0.0, right_db: float = 0.0) -> np.ndarray:
    parts = [silence(0.4, RATE)]
    for hz, db in tones:
        parts += [stereo(Tone(hz, db, 1.0, speed=speed, right_db=right_db), RATE), silence(0.3, RATE)]
    x = after(parts)
    return np.asarray(x + hiss(len(x), -80.0, RATE, np.random.default_rng(0)))


def values(measured: Measured, channel: str = "left") -> dict[float | None, float | None]:
    return {r.frequency_hz: r.value and round(r.value, 2) for r in readings(measured, "response", channel=channel)}


def test_tones_in_any_order_at_a_wrong_speed() -> None:
    x = capture((12500.0, -24.0), (63.0, -21.0), (1000.0, -20.0), (315.0, -20.5), speed=-0.02, right_db=-3.0)
    asked = (63.0, 315.0, 1000.0, 12500.0)
    measured = response(x, RATE, Options(frequencies=asked, reference_frequency=1000.0))
    for channel in ("left", "right"):
        assert values(measured, channel) == {63.0: -1.0, 315.0: -0.5, 1000.0: 0.0, 12500.0: -4.0}
    r = reading(measured, "response", channel="left", frequency_hz=315.0)
    assert r.reference == ReferenceTone(1000.0)
    # Both tones' uncertainties: √2 of one alone, 2 × 8.686/√K at 60 dB and 1 s is 8.7e-5 dB.
    assert r.uncertainty == pytest.approx(np.sqrt(2.0) * 8.7e-5, rel=0.3)


def test_without_a_list_all_that_was_found_by_its_own_frequency() -> None:
    measured = response(capture((1000.0, -20.0), (10000.0, -23.0), speed=0.01), RATE)
    assert [r.frequency_hz for r in readings(measured, "response", channel="left")] == [
        pytest.approx(1010.0, abs=0.01),
        pytest.approx(10100.0, abs=0.01),
    ]
    assert value(measured, "response", channel="left", frequency_hz=pytest.approx(10100.0, abs=0.01)) == pytest.approx(
        -3.0, abs=0.001
    )


def test_a_missing_tone_is_said_and_the_others_stand() -> None:
    measured = response(capture((1000.0, -20.0), (315.0, -20.0)), RATE, Options(frequencies=(315.0, 1000.0, 10000.0)))
    r = no_reading(result(measured, "response", channel="left", frequency_hz=10000.0))
    assert r.reason == "no tone of 10 kHz was found"
    assert value(measured, "response", channel="left", frequency_hz=315.0) == pytest.approx(0.0, abs=0.001)


def test_the_reference_at_two_levels_needs_a_sheet() -> None:
    x = capture((315.0, 0.0), (10000.0, -22.0), (315.0, -20.0), (1000.0, -21.0))
    options = Options(frequencies=(315.0, 1000.0, 10000.0), reference_frequency=315.0)
    measured = response(x, RATE, options)
    assert all(isinstance(r, NoReading) and "two levels" in r.reason for r in measured.readings)
    sheet = ((315.0, 0.0), (10000.0, -20.0), (315.0, -20.0), (1000.0, -20.0))
    by_sheet = response(x, RATE, Options(sheet=sheet, reference_frequency=315.0))
    assert values(by_sheet) == {315.0: 0.0, 10000.0: -2.0, 1000.0: -1.0}


def test_a_sheet_tells_takes_by_their_levels_and_takes_them_out() -> None:
    x = capture((1000.0, -3.0), (10000.0, -13.5), (1000.0, -23.0), (10000.0, -24.0), (63.0, -22.5))
    sheet = ((1000.0, 0.0), (10000.0, -10.0), (1000.0, -20.0), (10000.0, -20.0), (63.0, -20.0))
    measured = response(x, RATE, Options(sheet=sheet))
    assert values(measured) == {1000.0: 0.0, 10000.0: -1.0, 63.0: 0.5}


def test_two_takes_alike_are_both_told_and_the_better_used() -> None:
    x = capture((1000.0, -20.0), (10000.0, -23.0), (10000.0, -23.8))
    measured = response(x, RATE, Options(frequencies=(1000.0, 10000.0)))
    (warning,) = measured.warnings
    assert "-23.00" in warning
    assert "-23.80" in warning
    assert value(measured, "response", channel="left", frequency_hz=10000.0) == pytest.approx(-3.0, abs=0.01)


def test_no_reading_because() -> None:
    def why(x: np.ndarray, **options: object) -> set[str | None]:
        measured = response(x, RATE, Options(**options))  # type: ignore[arg-type]
        assert all(isinstance(r, NoReading) for r in measured.readings)
        return {no_reading(r).reason for r in measured.readings}

    assert why(silence(2.0, RATE), frequencies=(315.0, 1000.0)) == {"the capture is silent"}
    assert why(silence(2.0, RATE)) == {"the capture is silent"}
    x = capture((315.0, -20.0))
    assert why(x, frequencies=(315.0,), reference_frequency=1000.0) == {"the reference tone of 1 kHz was not found"}
    r = result(
        response(x, RATE, Options(frequencies=(315.0, 30000.0))), "response", channel="left", frequency_hz=30000.0
    )
    assert "half the sample rate" in no_reading(r).reason


def test_the_usual_reference() -> None:
    assert usual_reference([40.0, 315.0, 1000.0, 10000.0]) == 1000.0
    assert usual_reference([40.0, 315.0, 10000.0]) == 315.0
    assert usual_reference([63.0, 8000.0]) == 8000.0
