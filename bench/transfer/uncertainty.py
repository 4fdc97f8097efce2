"""Uncertainty of a decoded level, from the uncertainty of the level and treble errors that were corrected.

A decoder magnifies any remaining error, because mistracking adds to it (`bench.tape.mistracking_map`). The expanded
uncertainty (k = 2) of the decoded level is the larger of its changes when the error changes by plus or minus its own
expanded uncertainty. This holds for steady tones, by the static law of the decoder, and assumes a correct encoder.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bench.tape.noise_reduction import System, decoded_level_db, encoded_level_db
from bench.transfer.errors import ChannelErrors

AT_HZ = (400.0, 1000.0, 2000.0, 4000.0, 8000.0, 10000.0)
AT_DB = (0.0, -10.0, -20.0, -30.0, -40.0)


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Uncertainty of one tone in the decoded sound."""

    frequency_hz: float
    level_db: float
    """Before encoding, relative to the reference level of the system."""
    db: float
    """Expanded (k = 2)."""


def decoded_uncertainty_db(
    system: System, frequency_hz: ArrayLike, level_db: ArrayLike, error_db: ArrayLike
) -> NDArray[np.float64]:
    """Expanded uncertainty of decoded tones, dB.

    Args:
        system: `type-b` or `type-a`.
        frequency_hz: frequencies of the tones, any shape.
        level_db: before encoding, relative to the reference level; broadcast against the frequency.
        error_db: expanded uncertainty of the correction at each frequency, broadcast likewise.
    """
    level, error = np.asarray(level_db, dtype=float), np.asarray(error_db, dtype=float)
    fed = encoded_level_db(system, frequency_hz, level)
    low, high = (decoded_level_db(system, frequency_hz, fed + moved) - level for moved in (-error, error))
    return np.asarray(np.maximum(np.abs(low), np.abs(high)))


def decoded_uncertainties(system: System, channel: ChannelErrors) -> tuple[Uncertainty, ...] | None:
    """At each of `AT_HZ` and `AT_DB`; None if the uncertainty of the errors is unknown."""
    of_error = channel.uncertainty_at(AT_HZ)
    if of_error is None:
        return None
    found = decoded_uncertainty_db(system, np.array(AT_HZ)[:, None], np.array(AT_DB), of_error[:, None])
    return tuple(
        Uncertainty(hz, db, float(found[row, column]))
        for row, hz in enumerate(AT_HZ)
        for column, db in enumerate(AT_DB)
    )
