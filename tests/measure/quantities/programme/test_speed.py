"""Speed by mains hum and by a named pitch, of sounds made here of sines and noise."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.measure.meters import make_meter
from bench.measure.reading import Result
from tests.results import a_reading, no_reading

RATE = 16000
Floats = NDArray[np.float64]


def sines(hz: float, sizes: tuple[float, ...], seconds: float) -> Floats:
    t = np.arange(round(seconds * RATE)) / RATE
    return np.asarray(sum(a * np.sin(2 * np.pi * hz * n * t + n) for n, a in enumerate(sizes, start=1)))


def hum(hz: float, seconds: float, db: float = -50.0) -> Floats:
    return 10 ** (db / 20) * sines(hz, (1.0, 0.5, 0.6, 0.2), seconds)


def hiss(seconds: float, db: float = -60.0) -> Floats:
    return np.asarray(10 ** (db / 20) * np.random.default_rng(1).standard_normal(round(seconds * RATE)))


def bass(hz: float, seconds: float) -> Floats:
    """A note with harmonics, a second on and a second off."""
    on = np.arange(round(seconds * RATE)) // RATE % 2
    return 0.2 * on * sines(hz, (1.0, 0.7, 0.5, 0.3), seconds)


def read(sound: Floats, **options: float) -> Result:
    meter = make_meter("programme_speed", RATE, 2, options)
    for at in range(0, len(sound), 5000):
        piece = sound[at : at + 5000]
        meter.feed(np.stack((piece, 0.8 * piece), axis=1))
    (result,) = meter.finish().readings
    return result


@pytest.mark.parametrize(("hz", "percent"), [(50.35, 0.7), (49.4, -1.2), (60.9, 1.5)])
def test_hum_on_the_tape_shows_its_speed(hz: float, percent: float) -> None:
    reading = a_reading(read(hum(hz, 30.0) + hiss(30.0) + bass(73.4, 30.0)))
    assert reading.value == pytest.approx(percent, abs=0.04)
    # ±0.2 %: how well the mains of then are known. A choice, no source.
    assert reading.uncertainty == pytest.approx(0.2, abs=0.03)


def test_a_bass_note_that_comes_and_goes_is_no_hum() -> None:
    # G1 of equal temperament on 440 Hz lies at 49.0 Hz, 2 % from the mains.
    said = no_reading(read(bass(49.0, 30.0) + hiss(30.0)))
    assert said.reason == "no mains hum is heard all through this passage"


def test_a_single_line_without_harmonics_is_no_hum() -> None:
    assert "no mains hum" in no_reading(read(0.1 * sines(50.5, (1.0,), 30.0) + hiss(30.0))).reason


def test_hum_of_the_machine_itself_is_not_taken_for_the_tapes() -> None:
    own = hum(50.0, 40.0)
    assert "it is this machine's own" in no_reading(read(own + hiss(40.0))).reason
    assert a_reading(read(own + hum(50.4, 40.0) + hiss(40.0))).value == pytest.approx(0.8, abs=0.05)


def test_a_pitch_that_is_named_among_its_neighbours() -> None:
    # A note 0.45 % sharp, as 442 Hz for 440 Hz; beside it, louder, its neighbour a semitone above.
    sound = 0.1 * sines(442.0, (1.0, 0.4, 0.2), 8.0) + 0.3 * sines(466.16 * 1.0045, (1.0,), 8.0) + hiss(8.0)
    reading = a_reading(read(sound, nominal=440.0, known_percent=0.3))
    assert reading.value == pytest.approx(100 * (442 / 440 - 1), abs=0.03)
    assert reading.uncertainty == pytest.approx(0.3, abs=0.02)
    assert a_reading(read(sound, nominal=440.0)).uncertainty == pytest.approx(0.5, abs=0.02)


def test_where_the_named_pitch_is_not_heard_there_is_no_reading() -> None:
    said = no_reading(read(0.1 * sines(500.0, (1.0,), 8.0) + hiss(8.0), nominal=440.0))
    assert said.reason == "no tone or held note within half a semitone of 440 Hz is heard here"


@pytest.mark.parametrize(
    ("sound", "because"),
    [
        (np.zeros(20 * RATE), "nothing is heard"),
        (hum(50.3, 5.0), "hum takes 8 s of tape or more; let it play on"),
        (np.zeros(10), "nothing is heard"),
    ],
)
def test_too_little(sound: Floats, because: str) -> None:
    assert no_reading(read(sound)).reason == because
