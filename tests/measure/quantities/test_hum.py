"""Mains hum: it is found and distinguished from tones, and its harmonics are measured."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.reading import NoReading
from tests.measure.captures import hiss, mono, readings, results, tone
from tests.measure.whole_array import hum
from tests.results import a_reading


@pytest.mark.parametrize("mains", [50.0, 49.93, 50.9, 60.0, 60.05, 59.1])
@pytest.mark.parametrize("rate", [44100.0, 96000.0])
def test_mains_frequency_and_harmonics_are_found(mains: float, rate: float) -> None:
    lines = ((1, -60.0), (2, -75.0), (3, -66.0))
    x = hiss(-65.0, 12.0, rate)[:, 0] + sum(tone(n * mains, db, 12.0, rate) for n, db in lines)
    total, *found = readings(hum(mono(x), rate), "hum")
    assert total.frequency_hz == pytest.approx(mains, abs=0.02)
    assert len(found) == 3
    for (n, db), told in zip(lines, found, strict=True):
        assert told.frequency_hz == pytest.approx(n * mains, abs=0.1)
        assert told.value == pytest.approx(db, abs=max(0.15, told.uncertainty))
    assert total.value == pytest.approx(10 * np.log10(sum(10 ** (db / 10) for _, db in lines)), abs=0.15)


def test_hum_that_wanders_as_mains_does() -> None:
    t = np.arange(48000 * 20) / 48000.0
    phase = 2 * np.pi * (50.0 * t + 0.05 / (2 * np.pi * 0.07) * np.sin(2 * np.pi * 0.07 * t))
    x = hiss(-70.0, 20.0)[:, 0] + 1e-3 * np.sin(phase) + 1e-3 * np.sin(3 * phase)
    total, first, third = readings(hum(mono(x), 48000.0), "hum")
    assert first.value == pytest.approx(-60.0, abs=0.2)
    assert third.value == pytest.approx(-60.0, abs=0.2)
    assert total.value == pytest.approx(-57.0, abs=0.2)


@pytest.mark.parametrize("seconds", [1.5, 4.0, 20.0])
def test_noise_alone_has_no_hum(seconds: float) -> None:
    for seed in range(15):
        for told in results(hum(hiss(-50.0, seconds, 8000.0, seed=seed, channels=2), 8000.0), "hum"):
            assert isinstance(told, NoReading)


def test_tones_of_a_tape_are_no_hum() -> None:
    for hz in (315.0, 333.0, 400.0, 63.0):
        x = hiss(-60.0, 6.0)[:, 0] + tone(hz, -20.0, 6.0)
        assert isinstance(results(hum(mono(x), 48000.0), "hum")[0], NoReading)


def test_each_channel_has_its_own() -> None:
    x = hiss(-70.0, 6.0, channels=2)
    x[:, 1] += tone(100.0, -55.0, 6.0)
    left, right, line = results(hum(x, 48000.0), "hum")
    assert isinstance(left, NoReading)
    assert a_reading(right).value == pytest.approx(-55.0, abs=0.1)
    assert line.frequency_hz == pytest.approx(100.0, abs=0.05)


@pytest.mark.parametrize("residue", [400.0, 400.12, 399.9, 500.0])
def test_what_is_left_of_an_erased_tone_is_no_harmonic(residue: float) -> None:
    lines = ((1, -55.0), (2, -66.0), (3, -61.0), (5, -69.0))
    x = hiss(-62.0, 10.0)[:, 0] + sum(tone(n * 50.0, db, 10.0) for n, db in lines)
    told = hum(mono(x + tone(residue, -68.0, 10.0)), 48000.0)
    total, *found = readings(told, "hum")
    assert [round(r.frequency_hz or 0.0) for r in found] == [50, 100, 150, 250]
    assert total.frequency_hz == pytest.approx(50.0, abs=0.001)
    assert total.value == pytest.approx(10 * np.log10(sum(10 ** (db / 10) for _, db in lines)), abs=0.1)
    assert f"{residue:.1f} Hz" in told.warnings[0]


def test_a_buzz_of_many_harmonics_is_counted_whole() -> None:
    x = hiss(-70.0, 10.0)[:, 0] + sum(tone(n * 50.0, -50.0 - 1.5 * n, 10.0) for n in range(1, 13))
    told = hum(mono(x), 48000.0)
    assert len(readings(told, "hum")) == 13
    assert not told.warnings
