"""Azimuth: how much later the right channel comes than the left.

Formula: delay = phase lag / (2π f), f averaged over the same samples; whole periods are found by stepping up in
frequency. Positive: right late.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bench.measure.finder import FoundTone
from bench.measure.names import Reading, no_reading

METHOD = "phase between the channels, tracking demodulator"


def azimuth_of_tones(tones: Sequence[FoundTone]) -> Reading:
    """`azimuth_delay` in µs from all the tones together, the lowest first.

    Each higher tone is read within the period that the lower ones point to; all are then weighted by what they know.
    """
    usable = sorted((t for t in tones if t.pair is not None), key=lambda t: t.frequency_hz)
    if not usable:
        return no_reading("azimuth_delay", "left-right", "no tone sounds in both channels")
    total = weight = 0.0
    for tone in usable:
        pair = tone.pair
        assert pair is not None
        turn = 2 * np.pi * pair.frequency_hz
        expected = total / weight if weight else 0.0
        cycles = round((expected * turn - pair.lag_rad) / (2 * np.pi))
        delay = (pair.lag_rad + 2 * np.pi * cycles) / turn
        w = (turn / pair.uncertainty_rad) ** 2
        total, weight = total + w * delay, weight + w
    return Reading(
        "azimuth_delay",
        "left-right",
        1e6 * total / weight,
        1e6 / float(np.sqrt(weight)),
        frequency_hz=usable[0].frequency_hz if len(usable) == 1 else None,
        method=METHOD,
        reference="left channel",
    )


def phase_of_tone(tone: FoundTone) -> Reading:
    """`azimuth_phase` of one tone in degrees, -180…180, positive when the right channel is late."""
    if tone.pair is None:
        return no_reading("azimuth_phase", "left-right", "the tone does not sound in both channels")
    return Reading(
        "azimuth_phase",
        "left-right",
        float(np.degrees(tone.pair.lag_rad)),
        float(np.degrees(tone.pair.uncertainty_rad)),
        frequency_hz=tone.frequency_hz,
        method=METHOD,
        reference="left channel",
    )
