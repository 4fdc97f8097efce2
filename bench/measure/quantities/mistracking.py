"""The audible error at a noise-reduction decoder's output due to the measured record-to-replay errors, dB.

`heard_error` is the sum of response error and mistracking at the worst point from 40 Hz to 10 kHz and from 0 to -50 dB
relative to the reference level of the noise reduction; `mistracking` is the part of it that the decoder adds. Each
channel has a reading of both; negative is duller. They are computed from readings of level and response taken with the
noise reduction out, by `bench.tape.mistracking_map`, which gives formula, sources and limits. The uncertainty of
what is heard holds at every point, so that it covers another point that may be the worst.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from bench.measure.method import Method
from bench.measure.reading import Channel, NoReading, Reading, Result
from bench.problem import Problem
from bench.tape.mistracking_map import REFERENCE_LEVELS, SYSTEM_NAMES, MistrackingMap, ReplayErrors, mistracking_map
from bench.tape.noise_reduction import System

_SIDES: tuple[Channel, ...] = ("left", "right", "mono")


def errors_of(readings: Sequence[Result]) -> dict[Channel, ReplayErrors]:
    """The level and treble errors of each channel.

    Args:
        readings: `record_replay_level` and `response` (dB re that level's frequency) from record to replay with the
            noise reduction out. Other quantities and missing readings are ignored, and the last of several readings of
            one tone counts.

    Raises:
        Problem: an error that no working machine has, such as that of a dead channel.
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
        both = float(np.hypot(level.uncertainty, of_treble))
        found[side] = ReplayErrors(level.value, treble, at, channel, both, of_treble)
    return found


@dataclass(frozen=True, slots=True)
class Mistracking:
    """Readings, and the map of each channel, whose worst point the readings give."""

    readings: tuple[Result, ...]
    maps: dict[Channel, MistrackingMap] = field(default_factory=dict)


def mistracking(readings: Sequence[Result], system: System = "type-b") -> Mistracking:
    """`heard_error` and `mistracking` of each channel, dB.

    Args:
        readings: as for `errors_of`, at a single level: the lowest that was sent, because tape saturates at high ones.
        system: `type-b` or `type-a`.
    """
    try:
        of_channels = errors_of(readings)
    except Problem as problem:
        return Mistracking((NoReading("heard_error", "both", str(problem)),))
    maps = {channel: mistracking_map(system, errors) for channel, errors in of_channels.items()}
    if not maps:
        return Mistracking((NoReading("heard_error", "both", "no level was read from record to replay"),))
    return Mistracking(tuple(r for channel, found in maps.items() for r in _readings(channel, found)), maps)


def _readings(channel: Channel, found: MistrackingMap) -> tuple[Reading, Reading]:
    last = max((hz for hz, _ in found.errors.treble), default=found.errors.reference_hz)
    method = Method(
        f"from level and response, noise reduction out, by the law of {SYSTEM_NAMES[found.system]} for steady tones",
        worst_level_db=found.worst_level_db,
        held_beyond_hz=last,
    )
    heard = Reading(
        "heard_error",
        channel,
        found.worst_db,
        found.uncertainty_db,
        frequency_hz=found.worst_hz,
        method=method,
        reference=REFERENCE_LEVELS[found.system],
    )
    added, unsure = found.worst_mistracking_db, found.mistracking_uncertainty_db
    return heard, replace(heard, quantity="mistracking", value=added, uncertainty=unsure)
