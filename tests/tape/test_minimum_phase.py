"""The minimum phase that belongs to a magnitude response, against circuits whose phase has a formula."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from bench.tape.minimum_phase import _bode_area, phase_of_levels

OCTAVES = 1000.0 * 2.0 ** np.arange(-3, 4)


def shelf(hz: np.ndarray, zero_us: float, pole_us: float) -> np.ndarray:
    """An equaliser of two time constants, complex."""
    turn = 2e-6j * np.pi * hz
    return np.asarray((1 + turn * zero_us) / (1 + turn * pole_us))


def test_levels_that_fall_evenly_have_a_quarter_turn_for_6_db_an_octave() -> None:
    """Bode's integral, over 20 octaves."""
    hz = 1000.0 * 2.0 ** np.arange(-10.0, 11.0)
    assert phase_of_levels([1000.0], hz, -20 * np.log10(hz)) == pytest.approx([-np.pi / 2], abs=2e-3)


@pytest.mark.parametrize("pole_us", [70.0, 90.0, 170.0, 240.0])
def test_the_phase_of_a_shelf_from_its_levels_at_octaves(pole_us: float) -> None:
    response = shelf(OCTAVES, 120.0, pole_us)
    found = phase_of_levels(OCTAVES, OCTAVES, 20 * np.log10(np.abs(response)))
    assert found == pytest.approx(np.angle(response), abs=0.035)  # 2°, of up to 25°


def test_an_offset_alike_at_all_frequencies_turns_nothing() -> None:
    assert phase_of_levels([500.0, 3000.0], OCTAVES, np.full(OCTAVES.size, -6.0)) == pytest.approx([0.0, 0.0])
    assert phase_of_levels([500.0], [1000.0], [3.0]) == pytest.approx([0.0])


@pytest.mark.parametrize("u", [1e-9, 1e-3, 0.3, 0.88, 0.89, 2.0, 20.0])
def test_the_closed_form_of_the_integral_against_numerical_integration(u: float) -> None:
    whole, _ = quad(lambda t: -np.log(np.tanh(t / 2)), 0.0, u, epsabs=1e-13, epsrel=1e-12)
    assert _bode_area(np.array([u, -u])) == pytest.approx([whole, -whole], abs=1e-12, rel=1e-10)


def test_the_whole_integral_is_a_quarter_of_pi_squared() -> None:
    """The weights of Bode's relation add up to π²/2 over both sides."""
    assert _bode_area(np.array([0.0, 800.0])) == pytest.approx([0.0, np.pi**2 / 4], abs=1e-15)
