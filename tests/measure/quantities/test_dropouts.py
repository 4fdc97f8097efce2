"""Dropouts of known place, length and depth."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.measure.meters import Options
from bench.measure.reading import Reading
from tests.measure.captures import hiss, mono, readings, tone, value
from tests.measure.whole_array import dropouts

RATE = 48000.0


def spoilt(
    hz: float, holes: list[tuple[float, float, float]], seconds: float = 15.0, noise: float = -65.0
) -> NDArray[np.float64]:
    """A tone at −10 dBFS with rectangular holes: time in s, length in ms, depth in dB."""
    x = tone(hz, -10.0, seconds, flutter=((4.0, 1e-3),))
    for at, ms, db in holes:
        start = round(at * RATE)
        x[start : start + round(ms * RATE / 1000.0)] *= 10.0 ** (-db / 20.0)
    return x + hiss(noise, seconds)[:, 0]


@pytest.mark.parametrize("hz", [1000.0, 3150.0, 10000.0])
def test_place_length_and_depth(hz: float) -> None:
    holes = [(2.0, 8.0, 20.0), (4.0, 30.0, 12.0), (7.0, 100.0, 30.0), (9.0, 400.0, 10.0)]
    told = dropouts(mono(spoilt(hz, holes)), RATE)
    assert value(told, "dropout_count") == 4.0
    assert value(told, "dropout_rate") == pytest.approx(4.0 / (15.0 / 60.0), rel=0.03)
    lengths, depths = readings(told, "dropout_length"), readings(told, "dropout_depth")
    for (at, ms, db), length, depth in zip(holes, lengths, depths, strict=True):
        assert length.time_s == depth.time_s == pytest.approx(at, abs=2e-3)
        assert length.value == pytest.approx(ms, abs=1.0)
        assert depth.value == pytest.approx(db, abs=1.2)


@pytest.mark.parametrize(("ms", "db", "count"), [(4.0, 20.0, 0), (7.0, 20.0, 1), (50.0, 5.0, 0), (50.0, 7.0, 1)])
def test_what_counts_is_6_db_for_5_ms(ms: float, db: float, count: int) -> None:
    told = dropouts(mono(spoilt(3150.0, [(5.0, ms, db)], 10.0)), RATE)
    assert value(told, "dropout_count") == count
    assert len(readings(told, "dropout_depth")) == count


@pytest.mark.parametrize(("hz", "db"), [(3150.0, 6.3), (3150.0, 7.0), (3150.0, 8.0), (10000.0, 12.0), (630.0, 9.0)])
def test_the_length_is_as_uncertain_as_it_says(hz: float, db: float) -> None:
    told = dropouts(mono(spoilt(hz, [(3.0, 30.0, db), (6.0, 60.0, db)], 10.0)), RATE)
    for ms, length in zip((30.0, 60.0), readings(told, "dropout_length"), strict=True):
        assert length.value == pytest.approx(ms, abs=length.uncertainty)


def test_low_tones_bound_the_depth_of_brief_ones() -> None:
    told = dropouts(mono(spoilt(315.0, [(3.0, 8.0, 30.0), (6.0, 80.0, 20.0)], 10.0)), RATE)
    brief, long = readings(told, "dropout_depth")
    assert brief.bound == "at least"
    assert brief.value < 30.0
    assert long.value == pytest.approx(20.0, abs=1.2)
    assert long.bound is None


def test_the_running_level_follows_the_tape() -> None:
    t = np.arange(round(20.0 * RATE)) / RATE
    x = tone(3150.0, -10.0, 20.0) * 10.0 ** (-0.6 * t / 20.0)  # falls by 12 dB in all
    x[480000:484800] *= 0.1
    told = dropouts(mono(x), RATE)
    assert value(told, "dropout_count") == 1.0
    assert readings(told, "dropout_depth")[0].value == pytest.approx(20.0, abs=0.5)


def test_beginning_end_and_another_take_are_no_dropouts() -> None:
    loud, soft = tone(1000.0, -10.0, 6.0), tone(1000.0, -30.0, 6.0)
    x = np.concatenate([np.zeros(50000), loud, np.zeros(130000), loud, soft, np.zeros(30000)])
    told = dropouts(mono(x + hiss(-75.0, len(x) / RATE)[:, 0]), RATE)
    assert value(told, "dropout_count") == 0.0
    assert value(told, "dropout_rate") == 0.0


def test_rate_is_over_the_time_in_which_the_tone_is_present() -> None:
    x = np.concatenate([np.zeros(round(20 * RATE)), spoilt(1000.0, [(3.0, 20.0, 20.0)], 10.0)])
    told = dropouts(mono(x + hiss(-80.0, 30.0)[:, 0]), RATE)
    assert value(told, "dropout_rate") == pytest.approx(6.0, rel=0.05)
    assert readings(told, "dropout_length")[0].time_s == pytest.approx(23.0, abs=2e-3)


def test_each_channel_has_its_own_and_a_named_tone_is_heeded() -> None:
    left, right = spoilt(1000.0, [(2.0, 20.0, 20.0)], 8.0), spoilt(1000.0, [(3.0, 20.0, 20.0), (5.0, 9.0, 20.0)], 8.0)
    x = np.stack([left, right], axis=1) + 3.0 * hiss(-70.0, 8.0, channels=2)
    told = dropouts(x, RATE, Options(frequency=1000.0))
    assert value(told, "dropout_count", channel="left") == 1.0
    assert value(told, "dropout_count", channel="right") == 2.0
    assert {r.frequency_hz for r in told.readings} == {1000.0}


def sloping(rng: np.random.Generator, hz: float, depth_db: float, side_ms: float, noise_db: float) -> tuple[float, Any]:
    """Ten dropouts whose sides fall evenly over the given time; their true length at 6 dB, and the reading."""
    t = np.arange(round(12.0 * RATE)) / RATE
    gain_db = np.zeros(len(t))
    half = rng.uniform(30.0, 50.0)
    for at in np.arange(1.5, 11.0, 1.0) + rng.uniform(-0.2, 0.2, 10):
        gain_db -= depth_db * np.clip(1.0 - (1000.0 * np.abs(t - at) - half) / side_ms, 0.0, 1.0)
    x = 0.3 * 10.0 ** (gain_db / 20.0) * np.sin(2 * np.pi * hz * t)
    x += 0.3 * 10.0 ** (noise_db / 20.0) / np.sqrt(2.0) * rng.standard_normal(len(t))
    return 2.0 * (half + side_ms * (1.0 - 6.0 / depth_db)), dropouts(mono(x), RATE)


def test_the_length_of_slow_sides_is_as_uncertain_as_the_noise_makes_it() -> None:
    """With a slope of 0.06 dB per millisecond, the noise of the envelope moves the crossing earlier or later."""
    rng = np.random.default_rng(11)
    covered = []
    for hz, noise_db in ((1000.0, -34.0), (3150.0, -30.0), (10000.0, -28.0), (1000.0, -30.0)):
        length_ms, told = sloping(rng, hz, 12.0, 200.0, noise_db)
        lengths = [r for r in readings(told, "dropout_length") if isinstance(r, Reading) and r.value > 0.5 * length_ms]
        assert len(lengths) == 10
        covered += [abs(r.value - length_ms) <= r.uncertainty for r in lengths]
    assert np.mean(covered) >= 0.93


def test_the_depth_of_a_pointed_dropout_is_only_a_bound() -> None:
    """An abrupt fall that recovers at once, and a V of 6 ms: the filter makes both less deep."""
    t = np.arange(round(8.0 * RATE)) / RATE
    depth = 10.0 ** (-26.0 / 20.0)
    x = tone(10000.0, -10.0, 8.0)
    since = 1000.0 * (t - 3.0)
    x *= np.where(since < 0.0, 1.0, 1.0 - (1.0 - depth) * np.exp(-np.maximum(since, 0.0) / 9.0))
    x *= depth + (1.0 - depth) * np.clip(1000.0 * np.abs(t - 6.0) / 9.0, 0.0, 1.0)
    for told in readings(dropouts(mono(x), RATE), "dropout_depth"):
        assert told.bound == "at least"
        assert told.value < 25.0


def test_words_before_a_tone_are_no_dropouts() -> None:
    """An announcement, louder than the tone: a gliding buzz in syllables, at times with the tone's frequency in it."""
    t = np.arange(round(1.5 * RATE)) / RATE
    turns = 2 * np.pi * (120.0 * t + 12.0 / (2 * np.pi * 0.7) * np.sin(2 * np.pi * 0.7 * t))
    buzz = sum(np.cos(k * turns + k * k) / k for k in range(1, 25))
    knots = np.arange(0.0, 1.6, 0.12)
    syllables = np.interp(t, knots, np.random.default_rng(4).uniform(-0.6, 1.0, len(knots))).clip(0.0)
    words = 0.3 * buzz * syllables
    take = spoilt(315.0, [(4.0, 60.0, 20.0)], 8.0)
    x = np.concatenate([take, np.zeros(round(0.4 * RATE)), words, np.zeros(round(0.6 * RATE)), take])
    told = dropouts(mono(x + hiss(-65.0, len(x) / RATE)[:, 0]), RATE)
    assert value(told, "dropout_count") == 2.0


def test_hiss_around_print_through_is_no_dropout() -> None:
    """The next layer of tape gives an echo some 50 dB down (common practice, no source)."""
    take = tone(10000.0, -10.0, 6.0)
    x = np.concatenate([np.zeros(round(4.0 * RATE)), take, np.zeros(round(4.0 * RATE))])
    echo = round(1.3 * RATE)
    x[:-echo] += 10.0 ** (-50.0 / 20.0) * x[echo:]
    told = dropouts(mono(x + hiss(-60.0, len(x) / RATE, seed=4)[:, 0]), RATE, Options(frequency=10000.0))
    assert value(told, "dropout_count") == 0.0
    assert readings(told, "dropout_rate")[0].method.seconds == pytest.approx(6.0, abs=0.2)
