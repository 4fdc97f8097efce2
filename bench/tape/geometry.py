"""Wavelengths, track formats, and the delay between two tracks that an azimuth error causes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from bench.arrays import Floats

ARCMIN = np.pi / (180 * 60)
"""One minute of arc, radians: 2.9089e-4."""


@dataclass(frozen=True, slots=True)
class TrackFormat:
    """A track format."""

    name: str
    width_mm: float
    spacing_mm: float
    """Distance between the centres of the two tracks of a pair."""


TRACK_FORMATS: tuple[TrackFormat, ...] = (
    TrackFormat("cassette stereo", 0.6, 0.9),
    TrackFormat("quarter-inch quarter-track", 1.0, 3.4),
    TrackFormat("quarter-inch two-track (NAB)", 2.08, 3.96),
    TrackFormat("quarter-inch stereo (DIN)", 2.75, 3.5),
)
"""Widths: published tables. Spacings: those of the cassette and of DIN follow from track width and guard band; 3.40 and
3.96 mm are from memory. The drawing of the actual head takes precedence."""


def wavelength_um(frequency_hz: ArrayLike, speed_mm_s: float) -> Floats:
    """Recorded wavelength λ = v/f, µm."""
    return np.asarray(1e3 * speed_mm_s / np.asarray(frequency_hz, dtype=float))


def delay_us(angle_arcmin: ArrayLike, spacing_mm: float, speed_mm_s: float) -> Floats:
    """Delay between two tracks that an azimuth error causes: Δt = s·tan α / v, µs.

    Args:
        angle_arcmin: azimuth error, minutes of arc.
        spacing_mm: distance between the centres of the tracks.
        speed_mm_s: tape speed.
    """
    return np.asarray(1e6 * spacing_mm * np.tan(np.asarray(angle_arcmin, dtype=float) * ARCMIN) / speed_mm_s)


def angle_arcmin(delay_us: ArrayLike, spacing_mm: float, speed_mm_s: float) -> Floats:
    """The azimuth error that causes a delay between two tracks, minutes of arc: α = atan(v·Δt / s)."""
    tangent = np.asarray(delay_us, dtype=float) * 1e-6 * speed_mm_s / spacing_mm
    return np.asarray(np.arctan(tangent) / ARCMIN)


def rotation_rate_hz(diameter_mm: float, speed_mm_s: float) -> float:
    """Rotation rate of a round part that moves with the tape: v / (π d), Hz."""
    return speed_mm_s / (np.pi * diameter_mm)
