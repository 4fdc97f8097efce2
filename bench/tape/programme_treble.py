"""Probability of the time constant of a recording, from the fall of its treble.

A tape recorded with 70 µs and replayed with 120 µs sounds brighter by about 4 dB; in the opposite case it sounds duller
by as much. Pieces of music differ by more than that, so the fall of the treble alone rarely decides. It is combined by
Bayes' rule with the information on the shell.

    P(other) / P(own) = prior odds · exp(Δ (x − (μ + Δ/2)) / σ²)

with x the measured fall, μ the usual fall, σ its scatter, and Δ the change due to the other time constant.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from bench.tape.equalisation import relative_flux_db

MIDDLE_HZ, TREBLE_HZ = (400.0, 1000.0), (5000.0, 12500.0)
USUAL_FALL_DB = -20.0
"""Usual fall of power density between the two bands: that of the programme-like noise of IEC 60268-1, from memory."""
SCATTER_DB = 6.0
"""Standard deviation between pieces of music. A choice; common practice has no figure."""
MOST = 0.95
"""Probabilities lie between this and its complement, because programme never proves a time constant."""
TIME_CONSTANTS_US = (120.0, 70.0)
"""Time constants of cassettes (IEC 60094-1): type I, and types II and IV."""

Shell = Literal["I", "II or IV", ""]
"""The type that the notches of the shell show; "" if unknown."""
PRIOR_120: dict[Shell, float] = {"I": 0.95, "II or IV": 0.2, "": 0.5}
"""Prior probability of 120 µs: recorded cassettes on type II often have it. A choice."""


def other_time_constant(played_us: float) -> float | None:
    """The other time constant of a cassette; None for a machine with neither, such as an open-reel machine."""
    if played_us not in TIME_CONSTANTS_US:
        return None
    return TIME_CONSTANTS_US[1 - TIME_CONSTANTS_US.index(played_us)]


def treble_rise_db(recorded_us: float, played_us: float) -> float:
    """Rise of the treble band re the middle band if a tape is replayed with another time constant, dB."""
    middle, treble = (math.sqrt(low * high) for low, high in (MIDDLE_HZ, TREBLE_HZ))
    recorded, played = (
        np.array(relative_flux_db(np.array([treble]), middle, t, 0.0)) for t in (recorded_us, played_us)
    )
    return float((recorded - played)[0])


def other_probability(fall_db: float, uncertainty_db: float, played_us: float, shell: Shell) -> float | None:
    """Probability that a tape was recorded with the other time constant; None if there is no other.

    Args:
        fall_db: treble of the programme re its middle, as replayed.
        uncertainty_db: expanded uncertainty (k = 2) of the fall.
        played_us: time constant of replay.
        shell: the type that the shell shows.
    """
    other = other_time_constant(played_us)
    if other is None:
        return None
    shift = treble_rise_db(other, played_us)
    scatter = math.hypot(SCATTER_DB, uncertainty_db / 2)
    of_120 = PRIOR_120[shell]
    prior = of_120 if other == TIME_CONSTANTS_US[0] else 1 - of_120
    odds = prior / (1 - prior) * math.exp(shift * (fall_db - USUAL_FALL_DB - shift / 2) / scatter**2)
    return min(MOST, max(1 - MOST, odds / (1 + odds)))
