"""Everything in one pass: the same readings as from each meter alone, and none that the capture cannot support."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.measure.catalogue import NOISE_METHODS, WEIGHTED_PEAK
from bench.measure.meters import Options
from tests.measure.captures import hiss, readings, tone, value
from tests.measure.whole_array import distortion, everything, flutter, level, noise, separation, speed

RATE = 48000.0


def both(x: NDArray[np.float64], right: float = 1.0) -> NDArray[np.float64]:
    return np.stack([x, right * x], axis=1)


def test_a_carrier_gives_level_speed_flutter_distortion_and_dropouts_as_on_their_own() -> None:
    x = both(tone(3150.0, -10.0, 12.0, flutter=((4.0, 1e-3),), harmonics=(0.01, 0.02), speed=1.003))
    x += hiss(-65.0, 12.0, channels=2)
    told = everything(x, RATE, Options(nominal=3150.0))
    for own in (level(x, RATE), speed(x, RATE, Options(nominal=3150.0)), flutter(x, RATE, Options(nominal=3150.0))):
        for r in own.readings:
            assert r in told.readings
    for r in distortion(x, RATE).readings:
        assert r in told.readings
    assert value(told, "dropout_count", channel="left") == 0.0
    assert not readings(told, "noise")
    assert not readings(told, "hum")
    assert not readings(told, "separation")
    assert not readings(told, "maximum_output_level")


def test_noise_alone_gives_noise_and_hum_as_on_their_own() -> None:
    x = hiss(-60.0, 8.0, channels=2)
    x += both(tone(50.0, -65.0, 8.0))
    told = everything(x, RATE, Options(reference_level=-10.0))
    own = noise(x, RATE, Options(reference_level=-10.0))
    for method in NOISE_METHODS:
        assert value(told, "noise", channel="left", method=method) == value(own, "noise", channel="left", method=method)
    assert len(readings(told, "signal_to_noise")) == 8
    assert readings(told, "hum") == readings(own, "hum")
    for quantity in ("level", "wow_and_flutter", "third_harmonic", "dropout_count", "separation", "erasure"):
        assert not readings(told, quantity)


def test_a_sequence_gives_response_azimuth_and_the_noise_of_its_end() -> None:
    parts = [np.zeros((24000, 2))]
    for hz in (1000.0, 315.0, 3150.0, 10000.0):
        parts += [both(tone(hz, -20.0, 2.0)), np.zeros((12000, 2))]
    x = np.concatenate([*parts, np.zeros((6 * 48000, 2))])
    x += hiss(-60.0, len(x) / RATE, channels=2)
    told = everything(x, RATE, Options(speed=47.625, track_spacing=0.9))
    found = {round(r.frequency_hz or 0.0) for r in readings(told, "response", channel="left")}
    assert found == {315, 1000, 3150, 10000}
    assert all(abs(r.value) < 0.01 for r in readings(told, "response"))
    assert value(told, "azimuth_delay") == pytest.approx(0.0, abs=0.01)
    assert readings(told, "azimuth_angle")
    own = noise(x[-4 * 48000 :], RATE)
    for method in NOISE_METHODS:
        here, there = (
            value(told, "noise", channel="left", method=method),
            value(own, "noise", channel="left", method=method),
        )
        assert here == pytest.approx(there, abs=0.3 if "peak" in method else 0.1)
    assert not readings(told, "dropout_count")


def test_one_driven_channel_gives_separation() -> None:
    x = both(tone(1000.0, -10.0, 6.0), 1e-3) + hiss(-70.0, 6.0, channels=2)
    told = everything(x, RATE)
    assert readings(told, "separation") == readings(separation(x, RATE), "separation")


def test_erasure_only_when_its_options_are_there_and_the_tone_is_gone() -> None:
    asked = Options(frequency=1000.0, reference_level=-10.0)
    erased = hiss(-60.0, 8.0, channels=2) + both(tone(1000.0, -70.0, 8.0))
    assert value(everything(erased, RATE, asked), "erasure", channel="left") == pytest.approx(60.0, abs=0.3)
    assert not readings(everything(erased, RATE), "erasure")
    recorded = hiss(-60.0, 4.0, channels=2) + both(tone(1000.0, -10.0, 4.0))
    assert not readings(everything(recorded, RATE, asked), "erasure")


def test_speech_like_sound_is_not_taken_for_noise() -> None:
    t = np.arange(round(10.0 * RATE)) / RATE
    syllables = np.clip(np.sin(2 * np.pi * 2.3 * t) + 0.3 * np.sin(2 * np.pi * 0.4 * t), 0.0, 1.0) ** 2
    x = hiss(-25.0, 10.0, channels=2) * syllables[:, None] + hiss(-70.0, 10.0, channels=2, seed=1)
    told = everything(x, RATE)
    assert not readings(told, "noise", method=WEIGHTED_PEAK)
    assert all(r.value < -60.0 for r in readings(told, "noise"))


@pytest.mark.parametrize("x", [np.zeros((48000, 2)), hiss(-60.0, 0.05, channels=2), np.zeros((0, 1))])
def test_nothing_to_measure_says_why(x: NDArray[np.float64]) -> None:
    told = everything(x, RATE)
    assert told.readings == ()
    assert any("nothing could be measured" in w for w in told.warnings)


def test_a_response_that_was_asked_for_and_can_not_be_says_why() -> None:
    parts = [both(tone(hz, db, 1.5)) for hz, db in ((1000.0, -10.0), (315.0, -30.0), (1000.0, -30.0))]
    x = np.concatenate([p for part in parts for p in (part, np.zeros((12000, 2)))])
    told = everything(x + hiss(-80.0, len(x) / RATE, channels=2), RATE, Options(frequencies=(315.0, 1000.0)))
    assert not readings(told, "response")
    assert any("no response: 1 kHz is there at two levels" in w for w in told.warnings)
