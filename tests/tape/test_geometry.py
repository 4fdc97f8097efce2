"""Wavelengths, delays and angles against computed tables."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.tape.geometry import (
    ARCMIN,
    TRACK_FORMATS,
    angle_arcmin,
    delay_us,
    rotation_rate_hz,
    wavelength_um,
)


def test_an_arc_minute() -> None:
    assert pytest.approx(2.9089e-4, abs=1e-8) == ARCMIN


# λ = v/f, computed.
@pytest.mark.parametrize(
    ("speed", "hz", "um"), [(47.625, 8000.0, 5.953), (47.625, 20000.0, 2.381), (381.0, 10000.0, 38.1), (762, 1000, 762)]
)
def test_wavelength(speed: float, hz: float, um: float) -> None:
    assert wavelength_um(hz, speed) == pytest.approx(um, abs=0.001)


# Δt = s·tan α/v for one minute of arc, computed; the spacings of 3.40 and 3.96 mm are from memory.
@pytest.mark.parametrize(
    ("spacing", "speed", "us"),
    [
        (0.90, 47.625, 5.497),
        (3.40, 95.25, 10.383),
        (3.40, 190.5, 5.192),
        (3.96, 190.5, 6.047),
        (3.96, 381.0, 3.023),
        (3.50, 381.0, 2.672),
    ],
)
def test_delay_per_minute(spacing: float, speed: float, us: float) -> None:
    assert delay_us(1.0, spacing, speed) == pytest.approx(us, abs=0.001)


@given(st.floats(-120, 120))
def test_angle_and_delay_undo_each_other(angle: float) -> None:
    assert angle_arcmin(delay_us(angle, 0.9, 47.625), 0.9, 47.625) == pytest.approx(angle, abs=1e-9)


def test_tracks_of_the_cassette() -> None:
    # Published: 0.6 mm tracks, 0.3 mm between them.
    cassette = TRACK_FORMATS[0]
    assert cassette.spacing_mm == pytest.approx(cassette.width_mm + 0.3)


def test_a_capstan_turns_seven_times_a_second() -> None:
    # v/(π d) for 2.2 mm at 47.625 mm/s, by hand.
    assert rotation_rate_hz(2.2, 47.625) == pytest.approx(6.891, abs=0.001)
