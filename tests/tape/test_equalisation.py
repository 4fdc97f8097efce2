"""Recorded flux against tables computed elsewhere from IEC 60094-1:1981 clause 15."""

from __future__ import annotations

import numpy as np
import pytest

from bench.tape.equalisation import flux_level_db, relative_flux_db

HZ = [31.5, 63.0, 125.0, 315.0, 1000.0, 3150.0, 6300.0, 10000.0, 16000.0, 20000.0]

# Flux, dB, computed from the formula of IEC 60094-1 clause 15. Time constants as read in IASA TC-04 5.4.10 table 1
# and component data sheets; the 1590 µs row from memory.
FLUX = {
    (120.0, 3180.0): [5.468, 2.115, 0.607, -0.13, -1.944, -8.221, -13.722, -17.623, -21.659, -23.587],
    (70.0, 3180.0): [5.47, 2.121, 0.633, 0.026, -0.757, -4.652, -9.384, -13.084, -17.035, -18.942],
    (90.0, 3180.0): [5.47, 2.119, 0.624, -0.027, -1.194, -6.203, -11.364, -15.182, -19.184, -21.103],
    (70.0, 0.0): [-0.001, -0.003, -0.013, -0.083, -0.768, -4.653, -9.384, -13.084, -17.035, -18.942],
    (50.0, 3180.0): [5.47, 2.123, 0.639, 0.066, -0.398, -2.964, -6.917, -10.362, -14.194, -16.072],
    (35.0, 0.0): [-0.0, -0.001, -0.003, -0.021, -0.205, -1.702, -4.653, -7.661, -11.265, -13.084],
    (17.5, 0.0): [-0.0, -0.0, -0.001, -0.005, -0.052, -0.492, -1.702, -3.442, -6.123, -7.661],
    (100.0, 0.0): [-0.002, -0.007, -0.027, -0.167, -1.445, -6.917, -12.219, -16.072, -20.089, -22.012],
    (50.0, 0.0): [-0.0, -0.002, -0.007, -0.042, -0.409, -2.965, -6.917, -10.362, -14.194, -16.072],
    (140.0, 3180.0): [5.468, 2.112, 0.594, -0.213, -2.478, -9.383, -15.012, -18.942, -22.99, -24.921],
    (200.0, 0.0): [-0.007, -0.027, -0.106, -0.632, -4.115, -12.219, -18.04, -22.012, -26.077, -28.012],
    (200.0, 3180.0): [5.464, 2.098, 0.54, -0.524, -4.104, -12.218, -18.039, -22.012, -26.077, -28.012],
    (120.0, 1590.0): [10.45, 5.461, 2.113, 0.179, -1.912, -8.218, -13.721, -17.623, -21.659, -23.587],
}


@pytest.mark.parametrize(("constants", "expected"), FLUX.items())
def test_flux_by_time_constants(constants: tuple[float, float], expected: list[float]) -> None:
    assert flux_level_db(HZ, *constants) == pytest.approx(expected, abs=0.001)


def test_flux_re_a_reference_frequency() -> None:
    # IEC 60094-1 clause 15, cassette 120 + 3180 µs re 315 Hz, computed.
    assert relative_flux_db([1000.0, 10000.0], 315.0, 120.0, 3180.0) == pytest.approx([-1.814, -17.493], abs=0.001)


def test_no_long_time_constant_leaves_low_frequencies_alone() -> None:
    assert flux_level_db(1e-3, 70.0) == pytest.approx(0.0, abs=1e-9)


def test_a_120_us_tape_on_a_70_us_replay() -> None:
    # Computed from the same clause; the limit at high frequencies is 20 lg(70/120) = -4.68 dB re low ones.
    expected = [-1.031, -3.413, -4.383, -4.469]
    hz = [1000.0, 3150.0, 10000.0, 16000.0]
    got = relative_flux_db(hz, 315.0, 120.0, 3180.0) - relative_flux_db(hz, 315.0, 70.0, 3180.0)
    assert got == pytest.approx(expected, abs=0.001)


def test_a_nab_tape_on_an_iec_replay_at_381() -> None:
    # Computed from the same clause: 50 + 3180 µs against 35 µs, re 1 kHz.
    expected = [5.663, 1.161, -2.508, -2.795]
    hz = [31.5, 100.0, 10000.0, 20000.0]
    got = relative_flux_db(hz, 1000.0, 50.0, 3180.0) - relative_flux_db(hz, 1000.0, 35.0)
    assert got == pytest.approx(expected, abs=0.001)


def test_any_shape_goes_in_and_comes_out() -> None:
    assert flux_level_db(np.full((2, 3), 1000.0), 70.0, 3180.0).shape == (2, 3)
