"""Mistracking: what a noise-reduction decoder adds to the record-to-replay errors that were read, dB.

The worst of 40 Hz to 16 kHz and of 0 to -50 dB re the reference level of the noise reduction, a reading for each
channel; negative is duller. It is computed from readings of level and response taken with the noise reduction out,
by `bench.tape.mistracking_map`: its formula, its sources and its limits stand there. The uncertainty is how far the
worst moves when the errors move by theirs.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bench.measure.method import Method
from bench.measure.reading import Channel, Measured, NoReading, Reading, Result
from bench.problem import Problem
from bench.tape.mistracking_map import REFERENCE_LEVELS, SYSTEM_NAMES, ReplayErrors, mistracking_map
from bench.tape.noise_reduction import System

_SIDES: tuple[Channel, ...] = ("left", "right", "mono")


def errors_of(readings: Sequence[Result]) -> dict[Channel, ReplayErrors]:
    """The error of level and treble of each channel.

    Args:
        readings: `record_replay_level` and `response` (dB re that level's frequency) from record to replay with the
            noise reduction out; other quantities and readings without a value are passed over, and of several of
            one tone the last counts.

    Raises:
        Problem: an error that is no machine's, such as of a dead channel.
    """
    found: dict[Channel, ReplayErrors] = {}
    for side in _SIDES:
        here = [r for r in readings if r.channel == side and isinstance(r, Reading)]
        levels = [(r.frequency_hz, r) for r in here if r.quantity == "record_replay_level" and r.frequency_hz]
        if not levels:
            continue
        at, level = levels[-1]
        response = {
            r.frequency_hz: r for r in here if r.quantity == "response" and r.frequency_hz and r.frequency_hz != at
        }
        treble = tuple((hz, r.value) for hz, r in response.items())
        of_treble = max((r.uncertainty for r in response.values()), default=0.0)
        channel = "" if side == "mono" else side
        found[side] = ReplayErrors(level.value, treble, at, channel, float(np.hypot(level.uncertainty, of_treble)))
    return found


def mistracking(readings: Sequence[Result], system: System = "type-b") -> Measured:
    """`mistracking` of each channel, dB, with what it means for music as a sentence each in `warnings`.

    Args:
        readings: as for `errors_of`; those of one level, the lowest that was sent, for tape saturates at high ones.
        system: `type-b` or `type-a`.
    """
    try:
        of_channels = errors_of(readings)
    except Problem as problem:
        return Measured((NoReading("mistracking", "both", str(problem)),))
    taken: list[Result] = []
    said = []
    for channel, errors in of_channels.items():
        found = mistracking_map(system, errors)
        last = max((hz for hz, _ in errors.treble), default=errors.reference_hz)
        method = Method(
            f"from level and response, noise reduction out, by the law of {SYSTEM_NAMES[system]} for steady tones",
            worst_level_db=found.worst_level_db,
            held_beyond_hz=last,
        )
        taken.append(
            Reading(
                "mistracking",
                channel,
                found.worst_db,
                found.uncertainty_db,
                frequency_hz=found.worst_hz,
                method=method,
                reference=REFERENCE_LEVELS[system],
            )
        )
        said.append(f"{channel}: {found.sentence()}" if channel != "mono" else found.sentence())
    if not taken:
        taken = [NoReading("mistracking", "both", "no level was read from record to replay")]
    return Measured(tuple(taken), tuple(said))
