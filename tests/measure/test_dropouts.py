"""Dropouts of known place, length and depth."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.measure.dropouts import dropouts
from bench.measure.meters import Options
from tests.measure.captures import hiss, mono, readings, tone, value

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
        assert length.uncertainty is not None
        assert length.value == pytest.approx(ms, abs=length.uncertainty)


def test_low_tones_bound_the_depth_of_brief_ones() -> None:
    told = dropouts(mono(spoilt(315.0, [(3.0, 8.0, 30.0), (6.0, 80.0, 20.0)], 10.0)), RATE)
    brief, long = readings(told, "dropout_depth")
    assert brief.bound == "at least"
    assert brief.value is not None
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
