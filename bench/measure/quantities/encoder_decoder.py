"""The noise-reduction circuit itself: its encoding or decoding compared with the data sheet, dB at each tone.

Encoding: tones of `bench.tape.encoding_curves.encoding_tones` recorded with it in and replayed with it out, minus the
same tones with it out both times, give the boost; the error is the boost minus that of the data sheet. Decoding: tones
of `decoding_tones` (a tape whose encoding is known) recorded with it out and replayed with it out, minus the same tones
replayed with it in, give the cut; the error is the cut minus the boost that the data sheet gives at the level at which
the tone came out. What machine and tape do to a tone is the same both times and cancels. Limits of the Type B data
sheet: ±1.5 dB (`bench.tape.encoding_curves.TOLERANCE_DB`). They are limits of the encoding curve, so decoding is judged
by that curve too: where it is steep, the output of a decoder is wrong by up to three times as much as its curve.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from bench.measure.method import Method
from bench.measure.reading import Measured, NoReading, Reading, Result
from bench.tape.encoding_curves import boost_db
from bench.tape.mistracking_map import REFERENCE_LEVELS, SYSTEM_NAMES
from bench.tape.noise_reduction import System


@dataclass(frozen=True, slots=True)
class Twice:
    """A tone of one channel measured twice, with the noise reduction in (on one side) and with it out."""

    frequency_hz: float
    level_db: float
    """Re the reference level of the noise reduction: before encoding, or as it feeds the decoder."""
    with_it: Result
    """`level` or `record_replay_level`."""
    without: Result
    """The same quantity of the same tone and channel."""


def encoding_error(tones: Sequence[Twice], system: System = "type-b") -> Measured:
    """`encoding_error` of each tone, dB: the boost minus what it should be. Target 0, tolerance 1.5 dB."""
    return _errors(
        "encoding_error", tones, lambda t, change: change - boost_db(system, t.frequency_hz, t.level_db), system
    )


def decoding_error(tones: Sequence[Twice], system: System = "type-b") -> Measured:
    """`decoding_error` of each tone, dB: positive when the cut is too large. Target 0, tolerance 1.5 dB.

    Give the level that actually feeds the decoder (as measured with it out) where that is known: a wrong replay level
    changes the cut and is not a fault of the circuit.
    """
    return _errors(
        "decoding_error",
        tones,
        lambda t, change: -change - boost_db(system, t.frequency_hz, t.level_db + change),
        system,
    )


def _errors(quantity: str, tones: Sequence[Twice], error: Callable[[Twice, float], float], system: System) -> Measured:
    curve = "the data sheet of Type B" if system == "type-b" else "the law of Type A (figures from memory)"
    readings: list[Result] = []
    for tone in tones:
        with_it, without = tone.with_it, tone.without
        more: dict[str, Any] = {
            "frequency_hz": tone.frequency_hz,
            "method": Method(f"{SYSTEM_NAMES[system]} in minus out, beside {curve}", level_db=tone.level_db),
        }
        if isinstance(with_it, NoReading) or isinstance(without, NoReading):
            because = next(r.reason for r in (with_it, without) if isinstance(r, NoReading))
            readings.append(NoReading(quantity, with_it.channel, because, reference=REFERENCE_LEVELS[system], **more))
            continue
        readings.append(
            Reading(
                quantity,
                with_it.channel,
                error(tone, with_it.value - without.value),
                float(np.hypot(with_it.uncertainty, without.uncertainty)),
                reference=REFERENCE_LEVELS[system],
                **more,
            )
        )
    return Measured(tuple(readings))
