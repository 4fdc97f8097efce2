"""Level in dBFS: a sine whose peaks reach full scale reads 0 dBFS (AES17)."""

from __future__ import annotations

import numpy as np
import pytest

from bench.figures import hertz
from bench.measure.meters import Options
from bench.measure.reading import Measured, NoReading
from tests.measure.captures import reading, result, value
from tests.measure.spoiled import Tone, after, hiss, hum, silence, stereo
from tests.measure.whole_array import level
from tests.results import no_reading

RATE = 48000.0


def quiet(*parts: np.ndarray) -> np.ndarray:
    x = after(parts)
    return x + hiss(len(x), -90.0, RATE, np.random.default_rng(0))


@pytest.mark.parametrize("dbfs", [0.0, -6.02, -20.0, -40.0])
def test_a_full_scale_sine_is_the_reference(dbfs: float) -> None:
    # AES17: 0 dBFS is the level of a sine whose peaks reach full scale.
    t = np.arange(96000) / RATE
    x = 10.0 ** (dbfs / 20.0) * np.sin(2 * np.pi * 997.0 * t)
    measured = level(np.stack([x, x], axis=1), RATE)
    for side in ("left", "right"):
        assert value(measured, "level", channel=side) == pytest.approx(dbfs, abs=1e-4)
    assert reading(measured, "level", channel="left").reference == "full-scale sine (AES17)"


def test_the_tone_not_the_file() -> None:
    x = quiet(silence(4.0, RATE), stereo(Tone(1000.0, -20.0, 1.0, right_db=-1.5), RATE), silence(5.0, RATE))
    measured = level(x, RATE)
    assert value(measured, "level", channel="left") == pytest.approx(-20.0, abs=0.001)
    assert value(measured, "balance", channel="left-right") == pytest.approx(1.5, abs=0.002)
    assert measured.warnings == ()


def test_frequency_picks_the_nearest_however_loud_its_neighbours() -> None:
    loud = stereo(Tone(1250.0, -6.0, 2.0), RATE) + stereo(Tone(800.0, -6.0, 2.0), RATE)
    x = quiet(loud + stereo(Tone(1000.0, -40.0, 2.0), RATE), stereo(Tone(3150.0, -3.0, 3.0), RATE))
    measured = level(x, RATE, Options(frequency=990.0))
    found = reading(measured, "level", channel="left")
    assert found.value == pytest.approx(-40.0, abs=0.01)
    assert found.frequency_hz == 990.0


def test_without_frequency_the_tone_with_most_energy_and_a_word_about_the_others() -> None:
    x = quiet(stereo(Tone(1000.0, -20.0, 1.0), RATE), silence(0.5, RATE), stereo(Tone(400.0, -20.0, 3.0), RATE))
    measured = level(x, RATE)
    assert reading(measured, "level", channel="left").frequency_hz == pytest.approx(400.0, abs=0.01)
    assert "--frequency" in measured.warnings[0]
    assert "1000.0 Hz" in measured.warnings[0]


def test_hum_is_not_the_tone_unless_it_is_asked_for() -> None:
    rng = np.random.default_rng(1)
    x = quiet(silence(4.0, RATE))
    x += hum(len(x), -60.0, RATE, rng)
    assert no_reading(result(level(x, RATE), "level", channel="left"))
    assert value(level(x, RATE, Options(frequency=50.0)), "level", channel="left") == pytest.approx(-60.0, abs=0.05)


def why(measured: Measured) -> str:
    assert all(isinstance(r, NoReading) for r in measured.readings)
    return no_reading(measured.readings[0]).reason


def test_no_reading_because() -> None:
    assert why(level(silence(2.0, RATE), RATE)) == "the capture is silent"
    assert "too short" in why(level(quiet(stereo(Tone(1000.0, -20.0, 0.2), RATE)), RATE))
    assert why(level(quiet(silence(3.0, RATE)), RATE)) == "no steady tone was found"
    x = quiet(stereo(Tone(1000.0, -20.0, 1.0), RATE))
    assert "only 1000.0 Hz" in why(level(x, RATE, Options(frequency=5000.0)))
    assert "half the sample rate" in why(level(x, RATE, Options(frequency=24000.0)))


def test_one_channel_is_mono_and_has_no_balance() -> None:
    measured = level(quiet(stereo(Tone(1000.0, -20.0, 1.0), RATE))[:, :1], RATE)
    assert [(r.quantity, r.channel) for r in measured.readings] == [("level", "mono")]


def test_a_dead_channel_has_no_level_and_the_other_one_has() -> None:
    x = stereo(Tone(1000.0, -20.0, 1.0), RATE)
    x[:, 1] = 0.0
    measured = level(x, RATE)
    assert value(measured, "level", channel="left") == pytest.approx(-20.0, abs=1e-3)
    assert "no tone" in no_reading(result(measured, "level", channel="right")).reason
    assert no_reading(result(measured, "balance", channel="left-right"))


def test_hum_under_the_tone_is_in_the_uncertainty() -> None:
    # 100.3 Hz for 1.2 s, with the second harmonic of 50 Hz 37 dB below it: in a third of a cycle it looks like the
    # tone. In phase it is 20 lg(1 + 10^(-37/20)) = 0.12 dB.
    misses, told = 0, []
    for seed in range(10):
        rng = np.random.default_rng(seed)
        x = quiet(silence(0.7, RATE), stereo(Tone(100.3, -20.0, 1.2), RATE, rng), silence(0.6, RATE))
        r = reading(level(x + hum(len(x), -54.0, RATE, rng), RATE, Options(frequency=100.0)), "level", channel="left")
        misses += abs(r.value + 20.0) > r.uncertainty
        told.append(r.uncertainty)
    assert misses <= 2
    assert 0.05 < float(np.median(told)) < 0.4


def beside_hum(hz: float, seconds: float, right_db: float, seed: int, *, hum_dbfs: float = -100.0) -> Measured:
    """A tone on the left; on the right the noise and hum of an interface, and the tone at another level."""
    rng = np.random.default_rng(seed)
    tone = Tone(hz, -14.0, seconds, speed=0.012, flutter=((0.7, 0.001),), right_db=right_db)
    x = after([silence(1.0, RATE), stereo(tone, RATE, rng), silence(1.0, RATE)])
    orders = {1: 0.0, 2: -6.0, 3: -3.0, 4: -12.0, 5: -8.0, 6: -14.0, 8: -18.0, 10: -20.0, 20: -20.0}
    t = np.arange(len(x)) / RATE
    for order, db in orders.items():
        x[:, 1] += 10 ** ((hum_dbfs + db) / 20) * np.sin(2 * np.pi * 50.0 * order * t + rng.uniform(0, 2 * np.pi))
    x += hiss(len(x), -65.0, RATE, rng) * [1.0, 0.01]
    return level(x, RATE, Options(frequency=hz))


@pytest.mark.parametrize("hz", [40.0, 63.0, 125.0, 250.0, 315.0, 400.0, 1000.0])
@pytest.mark.parametrize("seconds", [0.8, 3.0])
def test_hum_on_a_channel_without_the_tone_is_not_the_tone(hz: float, seconds: float) -> None:
    measured = beside_hum(hz, seconds, -400.0, 1)
    assert abs(value(measured, "level", channel="left") + 14.0) < 0.1
    because = f"no tone of {hertz(hz)} is heard on the right channel"
    assert no_reading(result(measured, "level", channel="right")).reason == because
    assert no_reading(result(measured, "balance", channel="left-right"))


@pytest.mark.parametrize("hz", [63.0, 315.0, 3150.0])
def test_a_weak_tone_above_the_hum_is_read(hz: float) -> None:
    # Crosstalk of a good interface is about 100 dB down (common practice, no source).
    measured = beside_hum(hz, 3.0, -100.0, 1, hum_dbfs=-126.0)
    assert value(measured, "level", channel="right") == pytest.approx(-114.0, abs=0.5)
