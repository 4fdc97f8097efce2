"""Recorded flux as a function of frequency, from its time constants (IEC 60094-1 clause 15)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from bench.arrays import Floats


def flux_level_db(frequency_hz: ArrayLike, t1_us: float, t2_us: float = 0.0) -> Floats:
    """Level of the recorded short-circuit flux for a signal of constant level, dB.

    N(f) = 10 lg[1 + 1/(2π f t2)²] − 10 lg[1 + (2π f t1)²]

    Args:
        frequency_hz: any shape, above 0.
        t1_us: short time constant, µs; it lowers the flux at high frequencies.
        t2_us: long time constant, µs; it raises the flux at low frequencies. 0 for none.

    Returns:
        dB, the same shape; 0 where neither time constant has an effect.

    Source: IEC 60094-1 clause 15 (clause number read; the formula follows from the definitions of t1 and t2).
    """
    omega = 2 * np.pi * np.asarray(frequency_hz, dtype=float)
    level = -10 * np.log10(1 + (omega * t1_us * 1e-6) ** 2)
    if t2_us > 0:
        level = level + 10 * np.log10(1 + 1 / (omega * t2_us * 1e-6) ** 2)
    return np.asarray(level)


def relative_flux_db(frequency_hz: ArrayLike, reference_hz: float, t1_us: float, t2_us: float = 0.0) -> Floats:
    """`flux_level_db` relative to that at a reference frequency, dB."""
    return flux_level_db(frequency_hz, t1_us, t2_us) - flux_level_db(reference_hz, t1_us, t2_us)
