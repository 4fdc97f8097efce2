"""Azimuth: delay, whole periods, polarity, angle, weave."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.measure.meters import Options
from bench.measure.quantities.azimuth import azimuth_of_tones, phase_of_tone
from bench.measure.reading import Measured, NoReading
from bench.measure.tone.estimate import ChannelTone, PhasePair
from bench.measure.tone.finding.finder import FoundTone
from bench.measure.tone.phase_delay import Delay, resolve
from tests.measure.captures import reading, readings, result, value
from tests.measure.spoiled import Tone, after, hiss, hum, knowledge, silence, stereo
from tests.measure.whole_array import azimuth, find_tones
from tests.results import a_reading, no_reading

RATE = 48000.0
STEPS = (1000.0, 3150.0, 6300.0, 10000.0)
CASSETTE = Options(speed=47.625, track_spacing=0.9)


def capture(
    delay_s: float, *frequencies: float, seconds: float = 0.8, invert: bool = False, seed: int = 0
) -> np.ndarray:
    parts = [silence(0.3, RATE)]
    rng = np.random.default_rng(seed)
    for hz in frequencies:
        parts += [stereo(Tone(hz, -15.0, seconds, delay_s=delay_s), RATE, rng), silence(0.2, RATE)]
    x = after(parts)
    x[:, 1] *= -1.0 if invert else 1.0
    return np.asarray(x + hiss(len(x), -65.0, RATE, rng))


def delay(measured: Measured) -> float:
    return value(measured, "azimuth_delay")


@pytest.mark.parametrize("us", [-260.0, -40.0, 0.0, 3.0, 75.0, 320.0])
def test_whole_periods_are_told_by_stepping_up_in_frequency(us: float) -> None:
    measured = azimuth(capture(us * 1e-6, *STEPS), RATE)
    r = reading(measured, "azimuth_delay")
    assert r.value == pytest.approx(us, abs=0.02)
    assert abs(r.value - us) < 2 * r.uncertainty
    assert measured.warnings == ()


def test_the_phase_has_the_sign_of_the_delay_and_is_wrapped() -> None:
    measured = azimuth(capture(75e-6, *STEPS), RATE)
    phases = [r.value for r in readings(measured, "azimuth_phase")]
    # 360 f τ: 27°, 85.05°, 170.1°, 270° = -90°.
    assert phases == [pytest.approx(v, abs=0.05) for v in (27.0, 85.05, 170.1, -90.0)]


def test_the_angle_of_a_cassette() -> None:
    # One arc-minute between tracks 0.9 mm apart at 47.625 mm/s is 5497.1 ns: 0.9 mm · tan 1' / 47.625 mm/s (geometry).
    measured = azimuth(capture(3 * 5.4971e-6, *STEPS), RATE, CASSETTE)
    assert value(measured, "azimuth_angle") == pytest.approx(3.0, abs=0.005)
    assert not readings(azimuth(capture(0.0, 1000.0, 3150.0), RATE), "azimuth_angle")


@pytest.mark.parametrize("us", [-30.0, 4.0, 20.0])
def test_an_inverted_channel_is_said_and_is_no_delay(us: float) -> None:
    measured = azimuth(capture(us * 1e-6, *STEPS, invert=True), RATE)
    assert delay(measured) == pytest.approx(us, abs=0.02)
    assert any("polarity is inverted" in w for w in measured.warnings)
    assert readings(measured, "azimuth_phase")[0].value == pytest.approx(0.36 * us, abs=0.05)


def found_pair(pair: PhasePair) -> FoundTone:
    channel = ChannelTone(0.1, 1e-5, pair.frequency_hz, 1e-4)
    return FoundTone(0.0, 5.0, pair.frequency_hz, 1e-4, (channel, channel), pair)


def test_one_tone_says_that_whole_periods_are_open() -> None:
    # 60 µs is more than half a period of 10 kHz: the reading is one period off, and the reading says so.
    measured = azimuth(capture(60e-6, 10000.0), RATE)
    assert delay(measured) == pytest.approx(-40.0, abs=0.02)
    assert any("whole periods of 100.0 µs" in w for w in measured.warnings)


def test_without_a_low_tone_the_polarity_is_not_known() -> None:
    """A delay of half a period and an inverted channel, together, look like no delay."""
    both = azimuth(capture(50e-6, 10000.0, invert=True), RATE)
    assert delay(both) == pytest.approx(0.0, abs=0.02)
    assert readings(both, "azimuth_delay")[0].method.polarity_unknown
    assert any("polarity is not known" in w for w in both.warnings)
    assert not readings(azimuth(capture(0.0, 1000.0, 10000.0), RATE), "azimuth_delay")[0].method.polarity_unknown


def test_a_mono_input_shows_no_azimuth() -> None:
    mono = capture(8e-6, *STEPS).mean(axis=1)
    told = azimuth(np.stack([mono, 0.9 * mono], axis=1), RATE)
    assert all(isinstance(r, NoReading) and "carry the same signal" in r.reason for r in told.readings)


def test_modulation_noise_that_is_in_the_level_alone_makes_no_copy() -> None:
    rng = np.random.default_rng(3)
    x = capture(8e-6, 1000.0)
    told = azimuth(x * (1.0 + 0.01 * rng.standard_normal(x.shape)), RATE)
    assert delay(told) == pytest.approx(8.0, abs=0.1)


def test_hum_does_not_tell_whole_periods() -> None:
    # 50 Hz hum at -40 dBFS before the tone: its phase is known to some 100 µs only, and it is no azimuth.
    rng = np.random.default_rng(5)
    x = after([silence(1.3, RATE), stereo(Tone(9500.0, -6.0, 3.0, delay_s=-34e-6), RATE, rng)])
    x += hum(len(x), -40.0, RATE, rng) + hiss(len(x), -34.0, RATE, rng)
    measured = azimuth(x, RATE)
    assert delay(measured) == pytest.approx(-34.0, abs=0.02)
    assert [r.frequency_hz for r in readings(measured, "azimuth_phase")] == [pytest.approx(9500.0, abs=0.1)]
    assert any("one tone only" in w for w in measured.warnings)


def test_a_low_tone_too_noisy_to_tell_whole_periods_is_said() -> None:
    def told(spread: float) -> Delay:
        # The phase of the low tone is in error by what its noise allows.
        low = PhasePair(2 * np.pi * 315.0 * 30e-6 + 0.6 * spread, spread, 315.0, 0.0, 1e-3)
        return resolve([low, PhasePair(2 * np.pi * 6300.0 * 30e-6, 1e-3, 6300.0, 0.0, 1e-3)])

    assert told(0.01).others == ()
    assert told(0.01).seconds == pytest.approx(30e-6, abs=1e-8)
    assert any(d == pytest.approx(30e-6 + 1 / 6300.0, abs=1e-7) for d in told(0.5).others)
    assert told(0.5).seconds == pytest.approx(30e-6, abs=1e-7)


@pytest.mark.parametrize("us", [-110.0, -12.0, 45.0, 110.0, 260.0])
@pytest.mark.parametrize("invert", [False, True])
def test_heads_that_turn_each_tone_a_little_do_not_change_whole_periods(us: float, invert: bool) -> None:
    for seed in range(40):
        off = np.random.default_rng(seed).normal(0.0, 0.1, 4)
        pairs = [
            PhasePair(
                float(np.angle(np.exp(1j * (2 * np.pi * hz * us * 1e-6 + o + np.pi * invert)))), 1e-3, hz, 0.0, 0.1
            )
            for hz, o in zip(STEPS, off, strict=True)
        ]
        told = resolve(pairs)
        assert told.inverted == invert
        assert told.seconds == pytest.approx(us * 1e-6, abs=12e-6)


@pytest.mark.parametrize("us", [-110.0, -12.0, 0.0, 45.0, 260.0])
@pytest.mark.parametrize("right_us", [60.0, 88.0, 166.0, 240.0])
def test_unequal_equalisation_is_no_azimuth(us: float, right_us: float) -> None:
    """The replay amplifier is an integrator with one zero, 1 + jωt (IEC 60094-1): 120 µs on the left."""
    omega = 2 * np.pi * np.array(STEPS)
    own = (1 + 1j * omega * right_us * 1e-6) / (1 + 1j * omega * 120e-6)
    pairs = [
        PhasePair(float(-np.angle(o * np.exp(-1j * w * us * 1e-6))), 1e-3, hz, 0.0, 1e-3)
        for hz, w, o in zip(STEPS, omega, own, strict=True)
    ]
    told = resolve(pairs, balance_db=(20 * np.log10(np.abs(own))).tolist())
    assert told.seconds == pytest.approx(us * 1e-6, abs=min(1.5e-6, told.uncertainty))
    assert told.suits
    # Without the levels, part of it is mistaken for a delay.
    assert abs(resolve(pairs).seconds - us * 1e-6) > 2 * abs(told.seconds - us * 1e-6)


@pytest.mark.parametrize("us", [-110.0, -17.0, 0.0, 45.0])
@pytest.mark.parametrize("right_us", [17.5, 24.0, 50.0, 70.0])
def test_tones_in_ratios_of_whole_numbers_do_not_lead_a_millisecond_astray(us: float, right_us: float) -> None:
    """At 1, 4, 10 and 16 kHz a delay 1 ms longer fits as well; unequal amplifiers (left: 35 µs) must not decide."""
    hz = np.array([1018.0, 4090.0, 10212.0, 16239.0])
    omega = 2 * np.pi * hz
    own = (1 + 1j * omega * right_us * 1e-6) / (1 + 1j * omega * 35e-6)
    for seed in range(20):
        added = np.random.default_rng(seed).normal(0.0, 0.15, len(hz))
        lags = -np.angle(own * np.exp(-1j * (omega * us * 1e-6 + added)))
        noise = (0.0005, 0.002, 0.011, 0.013)
        pairs = [PhasePair(float(lag), u, f, 0.0, u) for lag, u, f in zip(lags, noise, hz, strict=True)]
        told = resolve(pairs, balance_db=(20 * np.log10(np.abs(own))).tolist(), inverted=False)
        assert told.seconds == pytest.approx(us * 1e-6, abs=10e-6)


def test_where_amplifiers_add_to_the_phases_the_uncertainty_covers_it() -> None:
    """All tones are read far better than that; 95 % of 200 are 190, and fewer than 178 would not be chance."""
    inside = 0
    for seed in range(200):
        added = np.random.default_rng(seed).normal(0.0, 0.1, len(STEPS))
        pairs = [PhasePair(2 * np.pi * f * 20e-6 + a, 1e-3, f, 0.0, 1e-3) for f, a in zip(STEPS, added, strict=True)]
        told = resolve(pairs)
        inside += abs(told.seconds - 20e-6) <= told.uncertainty
    assert inside >= 178


@pytest.mark.parametrize("lost", [(0.0, -1.0, -2.0, -4.0), (0.0, -0.5, -1.0, -2.0), (0.0, 1.0, 2.0, 1.0)])
def test_levels_that_differ_without_a_phase_change_nothing(lost: tuple[float, ...]) -> None:
    """Gain has no phase, and neither has Wallace's spacing loss, which is a property of the field."""
    rng = np.random.default_rng(3)
    pairs = [PhasePair(2 * np.pi * hz * 20e-6 + rng.normal(0, 5e-4), 1e-3, hz, 0.0, 1e-3) for hz in STEPS]
    assert resolve(pairs, balance_db=lost) == resolve(pairs)


def test_a_tone_that_comes_twice_is_one() -> None:
    turned = {1000.0: 0.0, 10000.0: 0.1, 10000.1: -0.1}
    pairs = [PhasePair(2 * np.pi * hz * 20e-6 + off, 1e-3, hz, 0.0, 1e-3) for hz, off in turned.items()]
    assert resolve(pairs, balance_db=[0.0, 2.0, 2.4]).seconds == pytest.approx(20e-6, abs=5e-6)


def test_channels_that_no_delay_explains_are_said() -> None:
    pairs = [
        PhasePair(lag, 1e-3, hz, 0.0, 1e-3)
        for hz, lag in ((1000.0, 0.0), (3150.0, 2.0), (6300.0, 0.3), (10000.0, -2.0))
    ]
    assert not resolve(pairs).suits


@given(lags=st.lists(st.floats(-3.1, 3.1), min_size=4, max_size=4))
def test_where_nothing_suits_no_delay_beyond_what_an_azimuth_can_be_is_read(lags: list[float]) -> None:
    """More than a degree on a cassette, 0.9 mm at 47.625 mm/s, is 330 µs."""
    tones = (1000.0, 3150.0, 6300.0, 10000.0)
    told = resolve([PhasePair(lag, 1e-3, hz, 0.0, 1e-3) for lag, hz in zip(lags, tones, strict=True)])
    assert told.suits or abs(told.seconds) <= 400e-6


def test_tones_that_disagree_a_little_widen_the_uncertainty() -> None:
    def pairs(off: float) -> list[PhasePair]:
        return [
            PhasePair(2 * np.pi * hz * 10e-6 + o, 1e-3, hz, 0.0, 1e-3)
            for hz, o in ((1000.0, 0.0), (6300.0, off), (10000.0, -off))
        ]

    assert resolve(pairs(0.05)).uncertainty > 20 * resolve(pairs(0.0)).uncertainty


def test_common_flutter_and_a_wrong_speed_do_not_matter() -> None:
    rng = np.random.default_rng(4)
    parts = []
    for hz in STEPS:
        parts += [
            stereo(Tone(hz, -15.0, 1.0, speed=0.02, flutter=((3.0, 0.003),), delay_s=12e-6), RATE, rng),
            silence(0.2, RATE),
        ]
    x = after(parts)
    assert delay(azimuth(x + hiss(len(x), -75.0, RATE, rng), RATE)) == pytest.approx(12.0, abs=0.005)


def test_weave_is_in_the_uncertainty_of_the_mean() -> None:
    # 2 µs peak at 0.7 Hz: the mean of 2.5 s may be off by 2 µs / (π · 0.7 Hz · 2.5 s) = 0.36 µs.
    misses, told = 0, []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        t = np.arange(round(2.5 * RATE)) / RATE
        late = 10e-6 + 2e-6 * np.sin(2 * np.pi * (0.7 * t + rng.uniform()))
        x = 0.1 * np.stack([np.sin(2 * np.pi * 6300.0 * t), np.sin(2 * np.pi * 6300.0 * (t - late))], axis=1)
        x = after([silence(0.3, RATE), x, silence(0.3, RATE)])
        r = reading(azimuth(x + hiss(len(x), -65.0, RATE, rng), RATE), "azimuth_delay")
        misses += abs(r.value - 10.0) > r.uncertainty
        told.append(r.uncertainty)
    assert misses <= 2
    assert 0.3 < float(np.median(told)) < 1.5


def test_a_sequence_reaches_its_bound() -> None:
    # √(2/K)/(2π f_rms), f_rms = 6.136 kHz over the four tones (computed); K of all the time together.
    errors, told = [], []
    for seed in range(12):
        r = reading(azimuth(capture(7e-6, *STEPS, seed=seed), RATE), "azimuth_delay")
        errors.append(r.value - 7.0)
        told.append(r.uncertainty / 2.0)
    bound = 1e6 * np.sqrt(2.0 / knowledge(4 * 0.8, 50.0)) / (2 * np.pi * 6136.0)
    assert np.std(errors) < 1.1 * bound * (1.0 + 3.0 / np.sqrt(24.0))
    assert np.median(told) == pytest.approx(bound, rel=0.15)


def test_no_reading_because() -> None:
    x = capture(0.0, 1000.0)
    assert "one channel" in no_reading(result(azimuth(x[:, :1], RATE), "azimuth_delay")).reason
    assert no_reading(result(azimuth(silence(2.0, RATE), RATE), "azimuth_delay")).reason == "the capture is silent"
    x[:, 1] = 0.0
    assert no_reading(result(azimuth(x, RATE), "azimuth_delay")).reason == "no tone is heard on the right channel"


def test_of_tones_as_a_procedure_asks() -> None:
    tones = find_tones(capture(20e-6, 1000.0, 10000.0), RATE)
    assert a_reading(azimuth_of_tones(tones)).value == pytest.approx(20.0, abs=0.05)
    assert azimuth_of_tones(tones[:1]).frequency_hz == pytest.approx(1000.0, abs=0.01)
    assert isinstance(azimuth_of_tones([]), NoReading)
    assert a_reading(phase_of_tone(tones[0])).value == pytest.approx(7.2, abs=0.05)


def test_a_phase_that_says_nothing_does_not_tell_whole_periods() -> None:
    """A tone of 20 kHz at the floor of the noise: any phase, ± 80° (k = 2)."""
    good = PhasePair(0.03, 0.01, 3150.0, 0.0, 0.0, 0.0)
    for lag in np.linspace(-3.0, 3.0, 13):
        tones = [found_pair(good), found_pair(PhasePair(float(lag), 1.4, 20400.0, 0.0, 0.0, 0.0))]
        told = a_reading(azimuth_of_tones(tones))
        assert told.value == pytest.approx(1e6 * 0.03 / (2 * np.pi * 3150.0), abs=0.01)
