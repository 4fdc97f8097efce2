"""How far a decoded level may be off, because level and treble of the transfer are known only so well.

A decoder magnifies any remaining error: an error of e dB at a frequency comes out as that error and the mistracking
it causes (`bench.tape.mistracking_map`). The expanded uncertainty (k = 2) of the decoded level is how far it moves, at
most, when the error moves by its own, up or down. That is for steady tones, by the static law of the decoder, and takes
the encoder to be right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench.tape.mistracking_map import ReplayErrors, mistracking_db
from bench.tape.noise_reduction import System
from bench.transfer.errors import ChannelErrors

AT_HZ = (400.0, 1000.0, 2000.0, 4000.0, 8000.0, 10000.0)
AT_DB = (0.0, -10.0, -20.0, -30.0, -40.0)


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Of one tone in the decoded sound."""

    frequency_hz: float
    level_db: float
    """Before encoding, re the reference level of the system."""
    db: float
    """Expanded (k = 2)."""


def decoded_uncertainty_db(system: System, frequency_hz: float, level_db: float, error_db: float) -> float:
    """Expanded uncertainty of a decoded tone, dB.

    Args:
        system: `type-b` or `type-a`.
        frequency_hz: of the tone.
        level_db: before encoding, re the reference level.
        error_db: expanded uncertainty of the level and treble error that were taken off at this frequency.
    """
    moved = [
        error + float(mistracking_db(system, frequency_hz, level_db, ReplayErrors(level_db=error)))
        for error in (-error_db, error_db)
    ]
    return max(abs(db) for db in moved)


def decoded_uncertainties(system: System, channel: ChannelErrors) -> tuple[Uncertainty, ...] | None:
    """Over `AT_HZ` and `AT_DB`; None where the uncertainty of the errors is not known."""
    of_error = channel.uncertainty_at(np.array(AT_HZ))
    if of_error is None:
        return None
    return tuple(
        Uncertainty(hz, db, decoded_uncertainty_db(system, hz, db, float(u)))
        for hz, u in zip(AT_HZ, of_error, strict=True)
        for db in AT_DB
    )
