"""Wow and flutter against IEC 60386 (from memory, unless stated) and closed formulas."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.measure.carrier.flutter_channel import Segment, Statistics
from bench.measure.catalogue import (
    FLUTTER_METHODS,
    TWO_SIGMA,
    UNWEIGHTED_PEAK,
    UNWEIGHTED_RMS,
    WEIGHTED_PEAK,
    WEIGHTED_RMS,
)
from bench.measure.meters import Options
from bench.measure.quantities.flutter import TWO_SIGMA_FRACTION, noise_floor, part_of
from bench.measure.signal.weighting import flutter_db
from tests.measure.captures import hiss, mono, reading, readings, result, tone, value
from tests.measure.whole_array import flutter
from tests.results import no_reading

RATE = 48000.0

# Pulses of 1 per second, in ms; reading in % of that of a 4 Hz sine of the same peak-to-peak deviation; limit.
# IEC 60386 and DIN 45507: 60 ms as read in the abstract of AES6-1982, the rest and all limits from memory.
PULSES = ((10, 21.0, 3.0), (30, 62.0, 6.0), (60, 90.0, 6.0), (100, 100.0, 4.0))


def carrier(seconds: float, *parts: tuple[float, float], hz: float = 3150.0, rate: float = RATE) -> NDArray[np.float64]:
    return tone(hz, -10.0, seconds, rate, flutter=parts)


def pulsed(ms: float, peak: float, seconds: float = 14.0) -> NDArray[np.float64]:
    t = np.arange(round(seconds * RATE)) / RATE
    speed = 1.0 + peak * ((t % 1.0) < ms / 1000.0 - 1e-9)
    return np.asarray(0.3 * np.sin(2 * np.pi * 3150.0 * np.cumsum(speed) / RATE))


@pytest.mark.parametrize("peak", [0.001, 0.006])
@pytest.mark.parametrize(("ms", "percent", "limit"), PULSES)
def test_pulse_response(ms: float, percent: float, limit: float, peak: float) -> None:
    steady = value(flutter(mono(carrier(10.0, (4.0, peak / 2))), RATE), "wow_and_flutter", method=WEIGHTED_PEAK)
    told = flutter(mono(pulsed(ms, peak)), RATE)
    assert 100.0 * value(told, "wow_and_flutter", method=WEIGHTED_PEAK) / steady == pytest.approx(percent, abs=limit)
    assert not told.warnings


def test_another_speed_makes_no_other_reference() -> None:
    """Two sessions whose speeds differ by a little are still compared."""
    told = [flutter(mono(carrier(6.0, (4.0, 0.001), hz=hz)), RATE) for hz in (3148.7, 3151.2)]
    assert {r.reference for one in told for r in one.readings if r.quantity == "wow_and_flutter"} == {"mean carrier"}


def test_the_pointer_falls_to_40_percent_between_pulses() -> None:
    # 40 % as read in the abstract of AES6-1982, 36 to 44 % from memory: 100 ms pulses, 1 per second.
    from scipy.signal import sosfilt

    from bench.measure.signal.quasi_peak import FLUTTER, QuasiPeak
    from bench.measure.signal.weighting import flutter_network

    t = np.arange(20 * 2000) / 2000.0
    meter = QuasiPeak(2000.0, 1, FLUTTER)
    x = np.abs(sosfilt(flutter_network(2000.0).sos, (t % 1.0) < 0.1))
    course = []
    for part in x.reshape(-1, 20):
        meter.feed(np.ascontiguousarray(part[None, :]))
        course.append(meter.now()[0])
    late = np.array(course[1000:])
    assert 36.0 <= 100.0 * late.min() / late.max() <= 44.0


def test_a_4_hz_sine_reads_by_each_method_what_theory_says() -> None:
    # ±0.1 %: quasi-peak 0.1, two-sigma 0.0997 (its 95th percentile), rms 0.0707 (computed).
    told = flutter(mono(carrier(12.0, (4.0, 0.001))), RATE)
    for method, expected in zip(FLUTTER_METHODS, (0.1, 0.09969, 0.07071, 0.07071, 0.1), strict=True):
        assert value(told, "wow_and_flutter", method=method) == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize(
    ("hz", "seconds"),
    [(0.2, 40.0), (0.4, 24.0), (0.8, 16.0), (1.6, 14.0), (6.3, 10.0), (20.0, 10.0), (63.0, 10.0), (100.0, 10.0)],
)
def test_weighted_sines_follow_the_declared_response(hz: float, seconds: float) -> None:
    told = flutter(mono(carrier(seconds, (hz, 0.001), rate=16000.0)), 16000.0)
    peak = 0.1 * 10.0 ** (float(flutter_db(hz)[0]) / 20.0)
    assert value(told, "wow_and_flutter", method=WEIGHTED_RMS) == pytest.approx(peak / np.sqrt(2.0), rel=0.02)
    assert value(told, "wow_and_flutter", method=TWO_SIGMA) == pytest.approx(0.9969 * peak, rel=0.02)
    if hz >= 1.0:
        assert value(told, "wow_and_flutter", method=WEIGHTED_PEAK) == pytest.approx(peak, rel=0.02)


@pytest.mark.parametrize("hz", [0.5, 1.0, 10.0, 100.0, 180.0])
def test_unweighted_is_flat(hz: float) -> None:
    told = flutter(mono(carrier(16.0, (hz, 0.001), rate=16000.0)), 16000.0)
    near = 0.005 if hz >= 10.0 else 0.02  # a slow one does not complete a whole number of cycles
    assert value(told, "wow_and_flutter", method=UNWEIGHTED_RMS) == pytest.approx(0.1 / np.sqrt(2.0), rel=near)
    peak = value(told, "wow_and_flutter", method=UNWEIGHTED_PEAK)
    if hz >= 1.0:
        assert peak == pytest.approx(0.1, rel=0.02)
    else:  # slower peaks last longer and hold the pointer up, as the docstring of `flutter` states
        assert 0.1 <= peak <= 0.114


def test_two_sigma_is_a_percentile_and_not_twice_the_rms() -> None:
    # Gaussian deviation: 1.960 times its rms (5 % exceedance); twice the rms would be exceeded for 4.55 %.
    gaussian = np.random.default_rng(1).standard_normal(1_000_000) * 1e-3
    statistics = Statistics()
    statistics.add(Segment(gaussian, gaussian, 0.0, 0.0))
    assert statistics.exceeded(TWO_SIGMA_FRACTION) == pytest.approx(1.960e-3, rel=0.005)


def test_a_thousandth_of_a_percent_is_seen() -> None:
    told = flutter(mono(carrier(12.0, (4.0, 1e-5))) + hiss(-70.0, 12.0), RATE)
    for method, share in ((WEIGHTED_PEAK, 1.0), (TWO_SIGMA, 0.9969), (WEIGHTED_RMS, 0.7071)):
        assert value(told, "wow_and_flutter", method=method) == pytest.approx(0.001 * share, rel=0.1)
    line = reading(told, "flutter_component")
    assert line.value == pytest.approx(0.001, rel=0.02)


def floor_percent(density: float) -> float:
    """Weighted rms floor in %: √(∫ (f W / fc)² df · density), W of the table; density of noise re carrier, per Hz."""
    f = np.linspace(0.2, 200.0, 20000)
    table = [(0.1, -48.0), (0.2, -30.6), (0.4, -15.0), (0.8, -6.0), (2.0, -0.9), (4.0, 0.0), (10.0, -2.1)]
    table += [(20.0, -5.9), (40.0, -10.4), (63.0, -14.2), (100.0, -17.3), (200.0, -23.0)]
    w = 10.0 ** (np.interp(np.log(f), np.log([t[0] for t in table]), [t[1] for t in table]) / 20.0)
    return float(100.0 * np.sqrt(np.trapezoid((f * w / 3150.0) ** 2, f) * density))


def test_floor_of_a_clean_16_bit_capture() -> None:
    # Triangular dither: error power q²/4, white to half the rate; the carrier has (10^(−10/20))²/2.
    expected = floor_percent(2.0**-30 / 4.0 / 24000.0 / 0.05)
    assert expected == pytest.approx(2.5e-6, rel=0.1)
    told = []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        x = carrier(12.0)
        x = np.round(x * 32768.0 + rng.random(len(x)) - rng.random(len(x))) / 32768.0
        dithered = flutter(mono(x), RATE)
        assert value(dithered, "wow_and_flutter", method=WEIGHTED_PEAK) < 1e-4
        told.append(value(dithered, "wow_and_flutter", method=WEIGHTED_RMS))
    # One reading scatters by 1.3 %, the mean of eight by half a per cent.
    assert 0.98 < np.sqrt(np.mean(np.square(told))) / expected < 1.02
    plain = flutter(mono(np.round(carrier(12.0) * 32768.0) / 32768.0), RATE)
    assert value(plain, "wow_and_flutter", method=WEIGHTED_PEAK) < 1e-4


def test_noise_floor_is_that_of_the_formula() -> None:
    # Weighted floor at 40 dB in 20 kHz: sqrt(int (f W/fc)² df / (20000 · 10⁴)) = 4.06e-4 % (closed formula).
    expected = floor_percent(1.0 / (20000.0 * 1e4))
    assert expected == pytest.approx(4.06e-4, rel=0.005)
    told = [
        value(flutter(mono(carrier(12.0)) + hiss(-50.0, 12.0, seed=k), RATE), "wow_and_flutter", method=WEIGHTED_RMS)
        for k in range(8)
    ]
    assert 0.98 < np.sqrt(np.mean(np.square(told))) / expected < 1.02


def test_uncertainty_tells_what_the_noise_adds() -> None:
    told = reading(flutter(mono(carrier(12.0)) + hiss(-50.0, 12.0), RATE), "wow_and_flutter", method=WEIGHTED_RMS)
    assert told.uncertainty > 0.5 * told.value  # only noise: the true value, 0, is nearly covered
    told = reading(
        flutter(mono(carrier(12.0, (4.0, 0.001))) + hiss(-50.0, 12.0), RATE), "wow_and_flutter", method=WEIGHTED_RMS
    )
    assert told.uncertainty < 0.02 * told.value


def test_noise_floor_of_a_phase_density() -> None:
    # 40 dB in 20 kHz at −10 dBFS: phase noise of 1/(2 · 20000 · 10⁴ · 2) … stated as rms of both sidebands.
    weighted, unweighted = noise_floor(1.0 / (2.0 * 20000.0 * 1e4), 3150.0)
    assert 100.0 * weighted == pytest.approx(4.06e-4, rel=0.03)
    assert 100.0 * unweighted == pytest.approx(3.67e-3, rel=0.05)


@pytest.mark.parametrize("rate", [44100.0, 48000.0, 88200.0])
def test_components_slow_close_and_fast(rate: float) -> None:
    parts = ((0.55, 1e-3), (0.70, 5e-4), (4.0, 1e-3), (20.0, 5e-4), (20.4, 3e-4), (100.0, 2e-4))
    told = readings(
        flutter(mono(carrier(20.0, *parts, rate=rate)) + hiss(-60.0, 20.0, rate), rate), "flutter_component"
    )
    assert len(told) == len(parts)
    for hz, peak in parts:
        line = min(told, key=lambda r: abs((r.frequency_hz or 0.0) - hz))
        assert line.frequency_hz == pytest.approx(hz, rel=1e-3)
        assert line.value == pytest.approx(100.0 * peak, rel=0.01)
    slow = next(r for r in told if (r.frequency_hz or 0.0) < 0.6)
    assert slow.method.every_s == pytest.approx(1.82, abs=0.005)


def test_noise_has_no_components() -> None:
    for seed in range(5):
        told = flutter(mono(carrier(12.0, rate=16000.0)) + hiss(-45.0, 12.0, 16000.0, seed=seed), 16000.0)
        assert not readings(told, "flutter_component")


@pytest.mark.parametrize("wrong", ["dropout", "click", "splice", "gap"])
def test_what_breaks_the_carrier_is_bridged_and_said(wrong: str) -> None:
    x = carrier(14.0, (4.0, 0.001)) + hiss(-60.0, 14.0)[:, 0]
    at = round(8.1 * RATE)
    if wrong == "dropout":
        x[at : at + 1200] *= 0.05
    elif wrong == "click":
        x[at] += 0.8
    elif wrong == "splice":
        x = np.concatenate([x[:at], x[at + 333 :]])
    else:
        x[at : at + 9600] = hiss(-60.0, 0.2)[:, 0]
    told = flutter(mono(x), RATE)
    assert value(told, "wow_and_flutter", method=WEIGHTED_PEAK) == pytest.approx(0.1, rel=0.03)
    assert value(told, "wow_and_flutter", method=UNWEIGHTED_PEAK) == pytest.approx(0.1, rel=0.05)
    assert any("bridged" in w and "8.1" in w for w in told.warnings)


def test_a_carrier_among_silence_and_speech_like_noise() -> None:
    x = np.concatenate([hiss(-25.0, 3.0)[:, 0], carrier(10.0, (4.0, 0.001)), np.zeros(90000)])
    told = flutter(mono(x), RATE)
    assert value(told, "wow_and_flutter", method=WEIGHTED_PEAK) == pytest.approx(0.1, rel=0.02)
    assert value(told, "wow_and_flutter", method=UNWEIGHTED_PEAK) == pytest.approx(0.1, rel=0.03)


@pytest.mark.parametrize(("hz", "nominal"), [(3000.0, 3150.0), (3000.0, None), (3150.0, 3000.0), (2988.0, 3150.0)])
def test_3000_and_3150_are_told_apart(hz: float, nominal: float | None) -> None:
    told = flutter(mono(carrier(8.0, (4.0, 0.001), hz=hz)), RATE, Options(nominal=nominal))
    assert value(told, "wow_and_flutter", method=WEIGHTED_PEAK) == pytest.approx(0.1, rel=0.02)
    assert any("3 kHz" in w and "3.15 kHz" in w for w in told.warnings)


@pytest.mark.parametrize("hz", [3150.0, 3190.0, 3100.0])
def test_a_carrier_that_fits_is_not_remarked_on(hz: float) -> None:
    told = flutter(mono(carrier(9.0, (4.0, 0.001), hz=hz)), RATE)
    assert not told.warnings


def test_a_wrong_speed_does_not_change_the_flutter() -> None:
    x = tone(3150.0, -10.0, 10.0, flutter=((4.0, 0.001),), speed=1.03)
    told = flutter(mono(x), RATE, Options(nominal=3150.0))
    assert value(told, "wow_and_flutter", method=WEIGHTED_PEAK) == pytest.approx(0.1, rel=0.01)


def test_other_carriers_by_name() -> None:
    told = flutter(mono(carrier(10.0, (4.0, 0.001), hz=1000.0)), RATE, Options(nominal=1000.0))
    assert value(told, "wow_and_flutter", method=WEIGHTED_PEAK) == pytest.approx(0.1, rel=0.01)


def test_each_channel_has_its_own_readings() -> None:
    x = np.stack([carrier(9.0, (4.0, 0.001)), np.zeros(round(9.0 * RATE))], axis=1)
    told = flutter(x, RATE)
    assert value(told, "wow_and_flutter", channel="left", method=WEIGHTED_PEAK) == pytest.approx(0.1, rel=0.01)
    right = no_reading(result(told, "wow_and_flutter", channel="right", method=WEIGHTED_PEAK))
    assert right.reason


def test_a_component_is_laid_to_a_part() -> None:
    rates = {"capstan": 7.59, "pinch roller": 1.43, "take-up reel": 0.55}
    assert part_of(7.6, rates) == ("capstan", None)
    assert part_of(1.44, rates) == ("pinch roller", None)
    assert part_of(15.2, rates) == ("capstan", 2)
    assert part_of(3.3, rates) == (None, None)
    assert part_of(3.3, {}) == (None, None)
    # A part with this rate takes precedence over another at half of it, however close the fit of the latter.
    assert part_of(2.86, {"pinch roller": 1.43, "motor": 2.81}) == ("motor", None)


def test_components_name_the_period_and_the_part_that_turns_so_often() -> None:
    # A capstan of 2.2 mm at 47.625 mm/s turns 47.625 / (π 2.2) = 6.891 times a second (geometry).
    x = carrier(12.0, (6.891, 5e-4), (1.7, 1e-3)) + hiss(-60.0, 12.0)[:, 0]
    told = readings(flutter(mono(x), RATE, Options(nominal=3150.0, parts=(("capstan", 6.891),))), "flutter_component")
    slow, fast = sorted(told, key=lambda r: r.frequency_hz or 0.0)
    assert str(fast.method).endswith("comes round every 0.15 s, as the capstan does")
    assert str(slow.method).endswith("comes round every 0.59 s")


@pytest.mark.parametrize("peak", [3e-6, 1e-5, 1e-4])
@pytest.mark.parametrize("fm", [0.4, 4.0, 30.0])
def test_stated_uncertainty_covers_what_noise_and_a_wow_cut_short_do(fm: float, peak: float) -> None:
    # A sine at 0.4 Hz may be cut at any phase; noise raises a peak by more than its power.
    x = mono(carrier(9.3, (fm, peak), rate=16000.0)) + hiss(-57.0, 9.3, 16000.0, seed=round(1e7 * peak + fm))
    told = flutter(x, 16000.0)
    weighted = 100.0 * peak * 10.0 ** (float(flutter_db(fm)[0]) / 20.0)
    truth = {
        WEIGHTED_RMS: weighted / np.sqrt(2.0),
        TWO_SIGMA: 0.9969 * weighted,
        UNWEIGHTED_RMS: 100.0 * peak / np.sqrt(2.0),
    }
    if fm > 1.0:  # slower ones hold the pointer up, as the docstring of `flutter` states
        truth |= {WEIGHTED_PEAK: weighted, UNWEIGHTED_PEAK: 100.0 * peak}
    for method, expected in truth.items():
        r = reading(told, "wow_and_flutter", method=method)
        assert r.value == pytest.approx(expected, abs=r.uncertainty), method
    if peak == 1e-4 and fm > 1.0:  # and claims no more than that
        assert reading(told, "wow_and_flutter", method=WEIGHTED_RMS).uncertainty < 0.03 * weighted


def test_unweighted_readings_cover_meters_whose_band_ends_elsewhere() -> None:
    # A wow of 0.3 Hz: second order from 0.15 Hz passes 0.970 of it, from 0.25 Hz 0.821 (closed formula).
    told = flutter(mono(carrier(30.0, (0.3, 0.001), rate=16000.0)), 16000.0)
    for method in (UNWEIGHTED_RMS, UNWEIGHTED_PEAK):
        shown = reading(told, "wow_and_flutter", method=method)
        assert shown.value * (0.821 / 0.970) > shown.value - shown.uncertainty
    fast = flutter(mono(carrier(10.0, (10.0, 0.001), rate=16000.0)), 16000.0)
    shown = reading(fast, "wow_and_flutter", method=UNWEIGHTED_RMS)
    assert shown.uncertainty < 0.03 * shown.value


def test_a_lossy_capture_is_told_and_unweighted_flutter_less_certain() -> None:
    """MP3 at 80 kbit/s made 0.054 % of 0.027 % on a studio machine's carrier, and left weighted flutter as it was."""
    x = carrier(6.0, (6.0, 2e-4)) + hiss(-60.0, 6.0)[:, 0]
    spectrum = np.fft.rfft(x)
    spectrum[np.fft.rfftfreq(len(x), 1.0 / RATE) > 15000.0] = 0.0  # as a coder leaves it
    told = flutter(mono(np.fft.irfft(spectrum, len(x))), RATE)
    assert any("lossy coding" in warning for warning in told.warnings)
    assert reading(told, "wow_and_flutter", method=UNWEIGHTED_RMS).uncertainty > 0.027
    assert reading(told, "wow_and_flutter", method=WEIGHTED_RMS).uncertainty < 0.027


def test_print_through_after_the_carrier_is_no_broken_carrier() -> None:
    x = carrier(10.0, (6.0, 1e-3))
    x = np.concatenate([x, 10.0 ** (-50.0 / 20.0) * x[: round(1.2 * RATE)], np.zeros(24000)])
    told = flutter(mono(x + hiss(-62.0, len(x) / RATE)[:, 0]), RATE)
    assert value(told, "wow_and_flutter", method=WEIGHTED_RMS) == pytest.approx(0.0692, rel=0.05)
    assert not told.warnings
