"""Losses against computed tables of the published formulae."""

from __future__ import annotations

import pytest

from bench.tape.losses import (
    azimuth_loss_db,
    crosstalk_change_db,
    fitted_spacing_um,
    gap_loss_db,
    spacing_loss_db,
    thickness_loss_db,
)


def test_spacing_wallace() -> None:
    # Wallace 1951: 54.575·d/λ dB; d = 1 µm at 47.625 mm/s, computed.
    got = spacing_loss_db([1000.0, 3150.0, 10000.0, 16000.0, 20000.0], 47.625, 1.0)
    assert got == pytest.approx([-1.146, -3.61, -11.459, -18.335, -22.919], abs=0.001)


def test_spacing_published_example() -> None:
    # Published worked check: at 23.39 mm/s, 1 µm costs 18.7 dB at 8 kHz and 2.3 dB at 1 kHz.
    assert spacing_loss_db([8000.0, 1000.0], 23.39, 1.0) == pytest.approx([-18.67, -2.33], abs=0.01)


def test_thickness() -> None:
    # 20 lg[(1 − e^−x)/x], 5 µm at 47.625 mm/s, computed; formula from memory.
    got = thickness_loss_db([1000.0, 3150.0, 10000.0, 16000.0], 47.625, 5.0)
    assert got == pytest.approx([-2.708, -7.514, -16.398, -20.469], abs=0.001)
    assert thickness_loss_db(1000.0, 47.625, 0.0) == 0.0


def test_gap_eargle() -> None:
    # Eargle's factor 1.11 (read), at g/λ = 0.1 … 0.9; 47.625 mm/s at 10 kHz is λ = 4.7625 µm.
    expected = [-0.177, -0.716, -1.647, -3.026, -4.959, -7.651, -11.565, -18.164, -59.991]
    got = [float(gap_loss_db(10000.0, 47.625, g * 0.47625)) for g in range(1, 10)]
    assert got[:8] == pytest.approx(expected[:8], abs=0.002)
    assert got[8] < -50


def test_gap_without_the_factor() -> None:
    # sinc, computed: half a wavelength costs 3.922 dB.
    assert gap_loss_db(10000.0, 47.625, 4.7625 / 2, factor=1.0) == pytest.approx(-3.922, abs=0.001)


# 20 lg|sin x/x|, x = πw·tan α/λ, at 1, 2, 3, 5, 6, 10, 15, 20 minutes of arc, computed.
@pytest.mark.parametrize(
    ("hz", "speed", "width", "expected"),
    [
        (10000.0, 47.625, 0.6, [-0.019, -0.077, -0.173, -0.485, -0.702, -2.012, -4.852, -9.814]),
        (12500.0, 47.625, 0.6, [-0.03, -0.12, -0.272, -0.763, -1.108, -3.238, -8.28, -20.875]),
        (10000.0, 190.5, 2.0, [-0.013, -0.053, -0.12, -0.336, -0.485, -1.376, -3.238, -6.198]),
        (16000.0, 381.0, 2.0, [-0.009, -0.034, -0.077, -0.214, -0.309, -0.87, -2.012, -3.728]),
    ],
)
def test_azimuth(hz: float, speed: float, width: float, expected: list[float]) -> None:
    got = [float(azimuth_loss_db(hz, speed, width, a)) for a in (1, 2, 3, 5, 6, 10, 15, 20)]
    assert got == pytest.approx(expected, abs=0.002)


def test_azimuth_first_null() -> None:
    # At the first null w·tan α = λ: 27.29 minutes of arc for 0.6 mm at 47.625 mm/s and 10 kHz, computed.
    assert azimuth_loss_db(10000.0, 47.625, 0.6, 27.29) < -60


def test_crosstalk_that_comes_out_of_step() -> None:
    # 30 dB is 3.16 %: half a period late, 1.0316 becomes 0.9684, and a quarter of a period late, √1.001.
    got = crosstalk_change_db(10000.0, [0.0, 25.0, 50.0, -50.0, 100.0], -30.0)
    assert got == pytest.approx([0.0, -0.2663, -0.5497, -0.5497, 0.0], abs=0.001)


def test_a_film_is_found_again_from_its_loss() -> None:
    # The published worked check above, reversed: -2.33 dB at 1 kHz and -18.67 dB at 8 kHz are 1 µm at 23.39 mm/s.
    spacing, offset, beside = fitted_spacing_um([1000.0, 4000.0, 8000.0], [-0.83, -7.83, -17.17], 23.39)
    assert spacing == pytest.approx(1.0, abs=0.01)
    assert offset == pytest.approx(1.5, abs=0.02)
    assert beside < 0.02
