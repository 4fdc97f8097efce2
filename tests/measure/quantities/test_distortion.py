"""Distortion of known harmonics, and of a known curve."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.catalogue import OF_FUNDAMENTAL, OF_TOTAL
from bench.measure.meters import Options
from tests.measure.captures import hiss, mono, reading, result, tone, value
from tests.measure.whole_array import distortion
from tests.results import no_reading

RATE = 48000.0
BOTH = ((4.0, 1e-3), (20.0, 5e-4))


@pytest.mark.parametrize("hz", [100.0, 315.0, 333.0, 400.0, 1000.0, 3150.0])
@pytest.mark.parametrize("rate", [44100.0, 96000.0])
def test_harmonics_under_flutter_and_a_wrong_speed(hz: float, rate: float) -> None:
    x = tone(hz, -6.0, 4.0, rate, flutter=BOTH, harmonics=(0.01, 0.03, 0.0, 0.004), speed=0.975)
    told = distortion(mono(x) + hiss(-70.0, 4.0, rate), rate)
    assert value(told, "second_harmonic") == pytest.approx(1.0, rel=0.003)
    assert value(told, "third_harmonic") == pytest.approx(3.0, rel=0.002)
    total = 100.0 * np.sqrt(0.01**2 + 0.03**2 + 0.004**2)
    assert value(told, "thd", method=OF_FUNDAMENTAL) == pytest.approx(total, rel=0.002)


def test_the_two_conventions() -> None:
    # IEC 60268-3 (from memory): 10 % of the fundamental is 9.950 % of the total signal.
    told = distortion(mono(tone(315.0, -6.0, 3.0, harmonics=(0.0, 0.1))), RATE)
    assert value(told, "thd", method=OF_FUNDAMENTAL) == pytest.approx(10.0, rel=1e-4)
    assert value(told, "thd", method=OF_TOTAL) == pytest.approx(9.950, abs=0.001)


def test_a_cubic_curve_makes_the_third_harmonic_that_algebra_gives() -> None:
    # x − c x³ of a sine of peak a: fundamental a − (3/4) c a³, third harmonic (1/4) c a³.
    a, c = 0.5, 0.3
    x = tone(1000.0, 20.0 * np.log10(a), 4.0, flutter=BOTH)
    told = distortion(mono(x - c * x**3), RATE)
    expected = 0.25 * c * a**3 / (a - 0.75 * c * a**3)
    assert value(told, "third_harmonic") == pytest.approx(100.0 * expected, rel=1e-3)


def test_hum_beside_a_harmonic_is_not_taken_for_it() -> None:
    x = tone(315.0, -10.0, 8.0, harmonics=(0.0, 0.01)) + tone(950.0, -40.0, 8.0) + tone(50.0, -30.0, 8.0)
    assert value(distortion(mono(x) + hiss(-70.0, 8.0), RATE), "third_harmonic") == pytest.approx(1.0, rel=0.03)


@pytest.mark.parametrize("line", [350.0, 345.0])
def test_hum_beside_the_fundamental_is_in_the_uncertainty(line: float) -> None:
    # It ripples the phase by which harmonics are derotated: a ripple of 3 % reduces the third by about 0.2 %.
    x = tone(315.0, -10.0, 5.0, harmonics=(0.01, 0.03)) + tone(line, -40.0, 5.0) + hiss(-75.0, 5.0)[:, 0]
    r = reading(distortion(mono(x), RATE), "third_harmonic")
    assert r.value == pytest.approx(3.0, abs=r.uncertainty)
    assert r.uncertainty < 0.02


def test_a_harmonic_on_a_mains_multiple_is_said() -> None:
    told = distortion(mono(tone(100.0, -10.0, 4.0, harmonics=(0.01, 0.03))), RATE)
    assert any("200 Hz" in w and "mains" in w for w in told.warnings)
    assert not distortion(mono(tone(1000.0, -10.0, 4.0, harmonics=(0.01, 0.03))), RATE).warnings


def test_what_noise_hides_is_bounded() -> None:
    told = distortion(mono(tone(1000.0, -20.0, 3.0)) + hiss(-60.0, 3.0), RATE)
    third = reading(told, "third_harmonic")
    assert third.bound == "at most"
    assert third.value < 0.1
    assert any("noise" in w for w in told.warnings)


def test_the_strongest_tone_is_measured_unless_one_is_named() -> None:
    x = np.concatenate(
        [
            tone(1000.0, -20.0, 3.0, harmonics=(0.0, 0.01)),
            np.zeros(20000),
            tone(315.0, -10.0, 3.0, harmonics=(0.0, 0.03)),
        ]
    )
    loud = distortion(mono(x), RATE)
    assert reading(loud, "third_harmonic").frequency_hz == pytest.approx(315.0, abs=0.01)
    assert value(loud, "third_harmonic") == pytest.approx(3.0, rel=1e-3)
    named = distortion(mono(x), RATE, Options(fundamental=1000.0))
    assert reading(named, "third_harmonic").frequency_hz == 1000.0
    assert value(named, "third_harmonic") == pytest.approx(1.0, rel=1e-3)


def test_a_step_of_the_level_is_said() -> None:
    x = np.concatenate([tone(315.0, -6.0, 2.0, harmonics=(0.0, 0.03)), tone(315.0, -16.0, 5.0, harmonics=(0.0, 0.003))])
    told = distortion(mono(x), RATE)
    assert value(told, "third_harmonic") == pytest.approx(0.3, rel=0.01)
    assert any("10.0 dB" in w for w in told.warnings)


def test_a_harmonic_above_the_rate_has_no_reading() -> None:
    told = distortion(mono(tone(10000.0, -10.0, 3.0, harmonics=(0.01,))), RATE)
    assert value(told, "second_harmonic") == pytest.approx(1.0, rel=1e-3)
    third = no_reading(result(told, "third_harmonic"))
    assert "48 kHz" in third.reason


@pytest.mark.long
@pytest.mark.parametrize(
    ("snr", "seconds", "second", "third"), [(40, 3.0, 0.01, 0.03), (50, 2.0, 2e-3, 5e-3), (60, 5.0, 5e-4, 1e-3)]
)
def test_stated_uncertainty_covers_the_truth(snr: float, seconds: float, second: float, third: float) -> None:
    rng = np.random.default_rng(7)
    covered: dict[str, list[bool]] = {"second_harmonic": [], "third_harmonic": [], "thd": []}
    truth = {"second_harmonic": second, "third_harmonic": third, "thd": float(np.hypot(second, third))}
    for k in range(500):
        hz, speed = rng.choice([315.0, 333.0, 400.0, 1000.0]), 1.0 + rng.uniform(-0.03, 0.03)
        x = tone(hz, -10.0, seconds, 24000.0, flutter=BOTH, harmonics=(second, third), speed=speed)
        told = distortion(mono(x) + hiss(-10.0 - snr, seconds, 24000.0, seed=k), 24000.0)
        for quantity, hits in covered.items():
            r = reading(told, quantity, method=OF_FUNDAMENTAL)
            off = abs(r.value - 100.0 * truth[quantity])
            hits.append(r.value >= 100.0 * truth[quantity] if r.uncertainty is None else off <= r.uncertainty)
    for quantity, hits in covered.items():
        assert 0.93 <= np.mean(hits) <= 0.98, f"{quantity}: {np.mean(hits):.3f}"
