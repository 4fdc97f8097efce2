"""Wavelengths, tracks, and what an angle of the head does to the time between two tracks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[np.float64]

ARCMIN = np.pi / (180 * 60)
"""One minute of arc, radians: 2.9089e-4."""


@dataclass(frozen=True, slots=True)
class Tracks:
    """A track format."""

    name: str
    width_mm: float
    spacing_mm: float
    """Between the centres of the two tracks of a pair."""


TRACKS: tuple[Tracks, ...] = (
    Tracks("cassette stereo", 0.6, 0.9),
    Tracks("quarter-inch quarter-track", 1.0, 3.4),
    Tracks("quarter-inch two-track (NAB)", 2.08, 3.96),
    Tracks("quarter-inch stereo (DIN)", 2.75, 3.5),
)
"""Widths: published tables. Spacings: the cassette's and the DIN one follow from width and guard; 3.40 and
3.96 mm are from memory. A head's own drawing comes first."""


def wavelength_um(frequency_hz: ArrayLike, speed_mm_s: float) -> Values:
    """Recorded wavelength λ = v/f, µm."""
    return np.asarray(1e3 * speed_mm_s / np.asarray(frequency_hz, dtype=float))


def delay_us(angle_arcmin: ArrayLike, spacing_mm: float, speed_mm_s: float) -> Values:
    """Time between two tracks that an azimuth error makes: Δt = s·tan α / v, µs.

    Args:
        angle_arcmin: azimuth error, minutes of arc.
        spacing_mm: between the centres of the tracks.
        speed_mm_s: tape speed.
    """
    return np.asarray(1e6 * spacing_mm * np.tan(np.asarray(angle_arcmin, dtype=float) * ARCMIN) / speed_mm_s)


def angle_arcmin(delay_us: ArrayLike, spacing_mm: float, speed_mm_s: float) -> Values:
    """The azimuth error behind a delay between two tracks, minutes of arc: α = atan(v·Δt / s)."""
    tangent = np.asarray(delay_us, dtype=float) * 1e-6 * speed_mm_s / spacing_mm
    return np.asarray(np.arctan(tangent) / ARCMIN)


def phase_degrees(frequency_hz: ArrayLike, delay_us: ArrayLike) -> Values:
    """Phase of a delay at a frequency, degrees, not wrapped: 360·f·Δt."""
    return np.asarray(360e-6 * np.asarray(frequency_hz, dtype=float) * np.asarray(delay_us, dtype=float))


def turning_rate_hz(diameter_mm: float, speed_mm_s: float) -> float:
    """How often a round part turns that the tape runs over: v / (π d), Hz."""
    return speed_mm_s / (np.pi * diameter_mm)
