"""Filters made from a response."""

from __future__ import annotations

import numpy as np
import pytest

from bench.practice.filters import CHUNK, FREQUENCIES, RATE, Fir, ModulationNoise, Shelf, zero_phase
from bench.tape.minimum_phase import minimum_phase


def response_of(taps: np.ndarray, hz: float) -> complex:
    return complex((taps * np.exp(-2j * np.pi * hz / RATE * np.arange(taps.size))).sum())


def test_zero_phase_has_its_magnitude_and_only_delay() -> None:
    wanted = -FREQUENCIES / 1000
    taps = zero_phase(wanted)
    for hz in (200.0, 1000.0, 10000.0, 18000.0):
        got = response_of(taps, hz) * np.exp(2j * np.pi * hz / RATE * 512)
        assert 20 * np.log10(abs(got)) == pytest.approx(-hz / 1000, abs=0.01)
        assert abs(np.angle(got)) < 0.002


def test_minimum_phase_is_that_of_the_analogue_network() -> None:
    # A replay amplifier's lift of 120 µs: phase atan(2π f t).
    omega = 2 * np.pi * FREQUENCIES
    taps = minimum_phase(10 * np.log10(1 + (omega * 120e-6) ** 2), 1024)
    # At higher frequencies the phase differs by the network's response above half the sample rate.
    for hz in (100.0, 315.0, 1000.0):
        got = response_of(taps, hz)
        assert 20 * np.log10(abs(got)) == pytest.approx(10 * np.log10(1 + (2 * np.pi * hz * 120e-6) ** 2), abs=0.01)
        assert np.degrees(np.angle(got)) == pytest.approx(np.degrees(np.arctan(2 * np.pi * hz * 120e-6)), abs=4)


def test_a_change_fades_in_within_one_chunk() -> None:
    fir = Fir()
    one, half = np.array([1.0]), np.array([0.5])
    fir.set(one, one)
    steady = np.ones((2, CHUNK))
    fir.run(steady)
    fir.set(half, one)
    changing = fir.run(steady)
    assert changing[0, 0] == pytest.approx(1.0)
    assert changing[0, -1] == pytest.approx(0.5)
    assert np.abs(np.diff(changing[0])).max() < 0.001
    assert fir.run(steady)[0] == pytest.approx(0.5)
    assert changing[1] == pytest.approx(1.0)


def test_a_filter_needs_taps() -> None:
    with pytest.raises(RuntimeError, match="without taps"):
        Fir().run(np.zeros((2, CHUNK)))


def test_shelf() -> None:
    # (s + zero)/(s + pole): 20 lg(zero/pole) at 0 Hz, 0 dB at high frequencies.
    impulse = np.zeros((2, RATE))
    impulse[:, 0] = 1.0
    Shelf(10.0, 50.0).run(impulse)
    assert 20 * np.log10(abs(response_of(impulse[0], 0.0))) == pytest.approx(20 * np.log10(0.2), abs=0.01)
    assert 20 * np.log10(abs(response_of(impulse[0], 5000.0))) == pytest.approx(0.0, abs=0.01)


def test_grain_has_unit_variance() -> None:
    white = np.random.default_rng(1).standard_normal((2, 20 * RATE))
    assert np.std(ModulationNoise().run(white)) == pytest.approx(1.0, abs=0.05)
