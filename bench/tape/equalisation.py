"""Recorded flux against frequency by its time constants (IEC 60094-1 clause 15)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Equalisation:
    """A standard equalisation, by its two time constants."""

    name: str
    speed_mm_s: float
    t1_us: float
    """The short time constant, which lowers the flux of high frequencies."""
    t2_us: float
    """The long time constant, which raises the flux of low frequencies; 0 for none."""


STANDARDS: tuple[Equalisation, ...] = (
    Equalisation("762 mm/s IEC2 (AES 1981)", 762.0, 17.5, 0.0),
    Equalisation("762 mm/s IEC1 (CCIR, DIN)", 762.0, 35.0, 0.0),
    Equalisation("381 mm/s IEC1 (CCIR, DIN, BS)", 381.0, 35.0, 0.0),
    Equalisation("381 mm/s IEC2 (NAB, EIA)", 381.0, 50.0, 3180.0),
    Equalisation("190.5 mm/s IEC1 (CCIR, DIN studio)", 190.5, 70.0, 0.0),
    Equalisation("190.5 mm/s IEC2 (NAB, DIN home)", 190.5, 50.0, 3180.0),
    Equalisation("190.5 mm/s CCIR, IEC, DIN before 1966-68", 190.5, 100.0, 0.0),
    Equalisation("190.5 mm/s US home 1967", 190.5, 50.0, 0.0),
    Equalisation("95.25 mm/s IEC2 (NAB, RIAA 1968)", 95.25, 90.0, 3180.0),
    Equalisation("95.25 mm/s IEC 1962-68", 95.25, 140.0, 3180.0),
    Equalisation("95.25 mm/s DIN 1962", 95.25, 120.0, 3180.0),
    Equalisation("95.25 mm/s DIN 1955-61", 95.25, 200.0, 0.0),
    Equalisation("95.25 mm/s US 1953-58", 95.25, 200.0, 3180.0),
    Equalisation("47.625 mm/s reel IEC, DIN", 47.625, 120.0, 3180.0),
    Equalisation("47.625 mm/s reel RIAA, NAB", 47.625, 90.0, 3180.0),
    Equalisation("cassette type I", 47.625, 120.0, 3180.0),
    Equalisation("cassette type II, IV", 47.625, 70.0, 3180.0),
    Equalisation("cassette DIN before about 1974", 47.625, 120.0, 1590.0),
)
"""Time constants by speed. Values as read in IASA TC-04 5.4.10 table 1 (762 to 95.25 mm/s) and component data
sheets (cassette); the 47.625 mm/s reel rows, the 1590 µs row and which cassette type takes which are from
memory."""


def flux_level_db(frequency_hz: ArrayLike, t1_us: float, t2_us: float = 0.0) -> Values:
    """Level of the recorded short-circuit flux, dB, of a signal of constant level.

    N(f) = 10 lg[1 + 1/(2π f t2)²] − 10 lg[1 + (2π f t1)²]

    Args:
        frequency_hz: any shape, above 0.
        t1_us: short time constant, µs.
        t2_us: long time constant, µs; 0 for none.

    Returns:
        dB, the same shape; 0 where neither time constant acts.

    Source: IEC 60094-1 clause 15 (clause number read; formula follows from what t1 and t2 are).
    """
    omega = 2 * np.pi * np.asarray(frequency_hz, dtype=float)
    level = -10 * np.log10(1 + (omega * t1_us * 1e-6) ** 2)
    if t2_us > 0:
        level = level + 10 * np.log10(1 + 1 / (omega * t2_us * 1e-6) ** 2)
    return np.asarray(level)


def flux_re_db(frequency_hz: ArrayLike, reference_hz: float, t1_us: float, t2_us: float = 0.0) -> Values:
    """`flux_level_db` relative to that at a reference frequency, dB."""
    return flux_level_db(frequency_hz, t1_us, t2_us) - flux_level_db(reference_hz, t1_us, t2_us)


def mismatch_db(
    frequency_hz: ArrayLike, reference_hz: float, tape_us: tuple[float, float], replay_us: tuple[float, float]
) -> Values:
    """What a tape of one equalisation reads on a replay set for another, dB re a reference frequency.

    Args:
        frequency_hz: any shape.
        reference_hz: where the two are made equal.
        tape_us: (t1, t2) by which the tape was recorded.
        replay_us: (t1, t2) for which the replay is set.
    """
    return flux_re_db(frequency_hz, reference_hz, *tape_us) - flux_re_db(frequency_hz, reference_hz, *replay_us)
