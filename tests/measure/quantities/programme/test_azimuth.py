"""Azimuth from programme, on noise and music that were delayed by a known time."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from bench.measure.quantities.programme.azimuth import ProgrammeMeter
from bench.measure.reading import NoReading
from bench.signals.demo_music import demo_music
from tests.measure.whole_array import programme_delay
from tests.results import a_reading

RATE = 48000


def late(x: np.ndarray, microseconds: float) -> np.ndarray:
    """Delayed exactly, by the phase of its whole spectrum."""
    hz = np.fft.rfftfreq(len(x), 1 / RATE)
    return np.fft.irfft(np.fft.rfft(x) * np.exp(-2j * np.pi * hz * microseconds * 1e-6), len(x))


def pink(seconds: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE)
    hz = np.maximum(np.fft.rfftfreq(n, 1 / RATE), 20.0)
    x = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) / np.sqrt(hz), n)
    return np.asarray(0.1 * x / x.std())


def narrow(delay_us: float) -> np.ndarray:
    """Noise from 3 to 3.7 kHz that both channels share, the right one late, with hiss of their own at −40 dB."""
    band = butter(6, [3000.0, 3700.0], "bandpass", fs=RATE, output="sos")
    x = np.asarray(sosfilt(band, np.random.default_rng(5).standard_normal(3 * RATE)))
    hiss = 0.01 * x.std() * np.random.default_rng(6).standard_normal((len(x), 2))
    return np.asarray(np.stack([x, late(x, delay_us)], axis=1) + hiss)


@pytest.mark.parametrize("delay", [-150.0, -40.0, -3.0, 0.0, 12.5, 80.0, 300.0])
def test_a_known_delay_is_found_in_what_both_channels_share(delay: float) -> None:
    shared = pink(6.0, 1)
    hiss = 0.01 * np.random.default_rng(2).standard_normal((len(shared), 2))
    reading = programme_delay(np.stack([shared, late(shared, delay)], axis=1) + hiss, RATE).readings[0]
    assert a_reading(reading).value == pytest.approx(delay, abs=max(0.3, 1.5 * (a_reading(reading).uncertainty)))
    assert a_reading(reading).uncertainty < 2.0


def test_a_wide_image_widens_the_uncertainty_and_does_not_move_the_delay() -> None:
    shared, left, right = pink(8.0, 1), pink(8.0, 3), pink(8.0, 4)
    narrow = np.stack([shared, late(shared, 25.0)], axis=1)
    wide = np.stack([shared + left, late(shared, 25.0) + right], axis=1)
    one, other = (a_reading(programme_delay(x, RATE).readings[0]) for x in (narrow, wide))
    assert other.value == pytest.approx(25.0, abs=1.5 * other.uncertainty)
    assert other.uncertainty > 2 * one.uncertainty


def test_the_uncertainty_covers_the_truth() -> None:
    inside = 0
    for seed in range(20):
        shared = pink(3.0, seed)
        apart = 0.7 * np.stack([pink(3.0, 100 + seed), pink(3.0, 200 + seed)], axis=1)
        reading = programme_delay(np.stack([shared, late(shared, 31.0)], axis=1) + apart, RATE).readings[0]
        inside += abs(a_reading(reading).value - 31.0) <= a_reading(reading).uncertainty
    # 95 % of 20 are 19; fewer than 16 would happen once in 400 by chance.
    assert inside >= 16


def test_music_will_do() -> None:
    music = demo_music(RATE).mean(axis=1)
    reading = programme_delay(np.stack([music, late(music, -60.0)], axis=1), RATE).readings[0]
    assert a_reading(reading).value == pytest.approx(-60.0, abs=0.5)


@pytest.mark.parametrize("delay", [-150.0, 0.0, 43.0, 300.0])
@pytest.mark.parametrize("octave_from_hz", [0.0, 800.0, 4000.0])
def test_an_inverted_channel_is_told_from_a_delay(delay: float, octave_from_hz: float) -> None:
    shared = pink(6.0, 1)
    if octave_from_hz:
        band = butter(4, [octave_from_hz, 2 * octave_from_hz], "bandpass", fs=RATE, output="sos")
        shared = sosfilt(band, shared)
    hiss = 0.001 * np.random.default_rng(2).standard_normal((len(shared), 2))
    for sign in (1.0, -1.0):
        reading = a_reading(
            programme_delay(np.stack([shared, sign * late(shared, delay)], axis=1) + hiss, RATE).readings[0]
        )
        assert reading.value == pytest.approx(delay, abs=1.0)
        assert reading.method.inverted == (sign < 0)


def test_a_wide_image_with_an_inverted_channel() -> None:
    music = demo_music(RATE)
    reading = a_reading(programme_delay(np.stack([music[:, 0], -late(music[:, 1], -60.0)], axis=1), RATE).readings[0])
    assert reading.value == pytest.approx(-60.0, abs=reading.uncertainty)
    assert reading.method.inverted


@pytest.mark.parametrize("right_us", [60.0, 85.0, 170.0])
def test_unequal_equalisation_is_no_delay(right_us: float) -> None:
    """One channel replayed with another time constant than the other's 120 µs, with the phase that belongs to it."""
    shared = pink(8.0, 1)
    hiss = 0.003 * np.random.default_rng(2).standard_normal((len(shared), 2))
    turn = 2e-6j * np.pi * np.fft.rfftfreq(len(shared), 1 / RATE)
    other = (1 + turn * right_us) / (1 + turn * 120.0)
    x = np.stack([shared, np.fft.irfft(np.fft.rfft(late(shared, 25.0)) * other, len(shared))], axis=1)
    reading = a_reading(programme_delay(x + hiss, RATE).readings[0])
    assert reading.value == pytest.approx(25.0, abs=0.5)


def test_a_panned_instrument_is_no_equalisation() -> None:
    shared, cymbal = pink(8.0, 1), np.diff(pink(8.0, 5), prepend=0.0)
    both = shared + 5.0 * cymbal
    right = late(shared + 10.0 * cymbal, 25.0)
    reading = a_reading(programme_delay(np.stack([both, right], axis=1), RATE).readings[0])
    assert reading.value == pytest.approx(25.0, abs=reading.uncertainty)
    assert reading.uncertainty < 8.0


def test_in_blocks_of_any_length_it_is_the_same() -> None:
    x = np.stack([pink(3.0, 1), late(pink(3.0, 1), 20.0)], axis=1)
    meter = ProgrammeMeter(RATE, 2)
    for at in range(0, len(x), 777):
        meter.feed(x[at : at + 777])
    assert a_reading(meter.finish().readings[0]).value == pytest.approx(
        a_reading(programme_delay(x, RATE).readings[0]).value, abs=1e-9
    )


def test_the_last_stretch_forgets_what_was_before() -> None:
    x = pink(8.0, 1)
    y = np.concatenate([late(x, 90.0)[: 4 * RATE], late(x, 10.0)[4 * RATE :]])
    meter = ProgrammeMeter(RATE, 2, last_s=2.0)
    meter.feed(np.stack([x, y], axis=1))
    assert a_reading(meter.now()).value == pytest.approx(10.0, abs=1.0)


@pytest.mark.parametrize(
    ("samples", "because"),
    [
        (np.zeros((RATE, 2)), "silent"),
        (np.zeros((RATE, 1)), "two channels"),
        (np.zeros((500, 2)), "too little was heard"),
        (np.stack([pink(3.0, 5), pink(3.0, 6)], axis=1), "too little in common"),
        (np.stack([pink(3.0, 5), late(pink(3.0, 5), 1000.0)], axis=1), "agree with no delay up to 400 µs"),
        (narrow(25.0), "too few frequencies"),
    ],
)
def test_where_there_is_none_it_says_why(samples: np.ndarray, because: str) -> None:
    reading = programme_delay(samples, RATE).readings[0]
    assert isinstance(reading, NoReading)
    assert because in reading.reason
