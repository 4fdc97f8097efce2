"""Losses between tape and head, each as a level in dB (0 or below) as a function of frequency."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from bench.arrays import Floats
from bench.tape.geometry import ARCMIN, wavelength_um

GAP_FACTOR = 1.11
"""Ratio of magnetic to optical gap length (Eargle; 1.12 and 1.14 are published too)."""


def _sinc_db(x: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        return np.asarray(20 * np.log10(np.abs(np.sinc(x / np.pi))))


def spacing_loss_db(frequency_hz: ArrayLike, speed_mm_s: float, spacing_um: float) -> Floats:
    """Spacing loss of a head at a distance from the tape: −20 lg e^(2πd/λ) = −54.575·d/λ dB.

    Args:
        frequency_hz: any shape.
        speed_mm_s: tape speed.
        spacing_um: d, distance between head and coating.

    Source: Wallace, Bell System Technical Journal, 1951.
    """
    return np.asarray(-40 * np.pi * np.log10(np.e) * spacing_um / wavelength_um(frequency_hz, speed_mm_s))


def fitted_spacing_um(frequency_hz: ArrayLike, level_db: ArrayLike, speed_mm_s: float) -> tuple[float, float, float]:
    """The spacing whose loss best fits a response: a straight line in dB as a function of frequency.

    Args:
        frequency_hz: shape (n,), at least two different ones.
        level_db: same shape, for a head without other losses; a constant offset is allowed.
        speed_mm_s: tape speed.

    Returns:
        The spacing, µm; the level at 0 Hz, dB; the residual about the line, dB rms.

    Source: least squares on Wallace's law, as in `spacing_loss_db`.
    """
    hz, db = np.asarray(frequency_hz, dtype=float), np.asarray(level_db, dtype=float)
    slope, offset = np.polyfit(hz, db, 1)
    of_1_um = float(spacing_loss_db(1.0, speed_mm_s, 1.0))
    return float(slope / of_1_um), float(offset), float(np.sqrt(np.mean((db - offset - slope * hz) ** 2)))


def thickness_loss_db(frequency_hz: ArrayLike, speed_mm_s: float, coating_um: float) -> Floats:
    """Thickness loss of a coating magnetised evenly through its depth: 20 lg[(1 − e^(−x))/x], x = 2πδ/λ, dB.

    Source: from memory (Wallace). Its slope towards short wavelengths, 6 dB per octave, was read in a source.
    """
    x = 2 * np.pi * coating_um / wavelength_um(frequency_hz, speed_mm_s)
    return np.asarray(20 * np.log10(-np.expm1(-x) / x)) if coating_um > 0 else np.zeros_like(x)


def gap_loss_db(frequency_hz: ArrayLike, speed_mm_s: float, gap_um: float, factor: float = GAP_FACTOR) -> Floats:
    """Gap loss of a replay head: 20 lg|sin x / x|, x = π·k·g/λ, dB.

    Args:
        frequency_hz: any shape.
        speed_mm_s: tape speed.
        gap_um: g, optical gap length.
        factor: k, the ratio of magnetic to optical gap length.

    Source: k = 1.11 from Eargle.
    """
    return _sinc_db(np.pi * factor * gap_um / wavelength_um(frequency_hz, speed_mm_s))


def azimuth_loss_db(frequency_hz: ArrayLike, speed_mm_s: float, width_mm: float, angle_arcmin: float) -> Floats:
    """Azimuth loss of a gap at an angle to the recording: 20 lg|sin x / x|, x = π·w·tan α/λ, dB.

    Args:
        frequency_hz: any shape.
        speed_mm_s: tape speed.
        width_mm: w, the width of one track.
        angle_arcmin: α, minutes of arc.

    Source: from memory; standard in the literature.
    """
    offset_um = 1e3 * width_mm * np.tan(angle_arcmin * ARCMIN)
    return _sinc_db(np.pi * offset_um / wavelength_um(frequency_hz, speed_mm_s))


def crosstalk_change_db(frequency_hz: ArrayLike, delay_us: ArrayLike, crosstalk_db: float) -> Floats:
    """Change of a tone that is in both channels, if one is delayed: 20 lg|1 + x·e^(−j2πfτ)| − 20 lg(1 + x), dB.

    Crosstalk adds to a tone in phase, and the less the more it is delayed.

    Args:
        frequency_hz: f, any shape.
        delay_us: τ, between the channels; broadcast against the frequency.
        crosstalk_db: 20 lg x, below 0.
    """
    turn = 2e-6 * np.pi * np.asarray(frequency_hz, dtype=float) * np.asarray(delay_us, dtype=float)
    leak = 10 ** (crosstalk_db / 20)
    return np.asarray(10 * np.log10(1 + 2 * leak * np.cos(turn) + leak**2) - 20 * np.log10(1 + leak))


FRINGING_WAVELENGTH_UM = 381.0
"""Longest wavelength at which a full-track tape reads correctly on a narrower head: 1 kHz at 381 mm/s (McKnight,
Journal of the AES 26(4), 1978, as quoted in the trade)."""


def fringing_rise_db(frequency_hz: ArrayLike, speed_mm_s: float, width_mm: float, reach_mm: float = 0.75) -> Floats:
    """Rise of the reading of a full-track tape on a narrower head: 20 lg[1 + (λ/2π)(1 − e^(−2πr/λ))/w], dB.

    The head also picks up flux from outside its track, which decreases with distance in wavelengths, as far as the
    shield or the next head.

    Args:
        frequency_hz: any shape.
        speed_mm_s: tape speed.
        width_mm: w, the width of the head's track.
        reach_mm: r, the distance from which it picks up flux on either side.

    Source: form from memory, +1 to +3 dB at low frequencies as quoted from McKnight (1978); not exact for any head.
    """
    decay_mm = wavelength_um(frequency_hz, speed_mm_s) / 1e3 / (2 * np.pi)
    return np.asarray(20 * np.log10(1 + decay_mm * -np.expm1(-reach_mm / decay_mm) / width_mm))
