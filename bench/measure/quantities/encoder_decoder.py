"""Errors of a noise-reduction circuit: its encoding or decoding compared with the data sheet, dB at each tone.

Encoding: tones of `bench.tape.encoding_curves.encoding_tones` recorded with it in and replayed with it out, minus the
same tones with it out both times, give the boost; the error is the boost minus that of the data sheet. Decoding: tones
of `decoding_tones` (a tape whose encoding is known) recorded with it out and replayed with it out, minus the same tones
replayed with it in, give the cut; the error is the cut minus the boost that the data sheet gives at the level of the
decoded tone. The effects of machine and tape on a tone are the same both times and cancel. Limits of the Type B data
sheet: ±1.5 dB (`bench.tape.encoding_curves.TOLERANCE_DB`). They are limits of the encoding curve, so decoding is judged
by that curve too: where it is steep, the error of a decoder's output is up to three times that of its curve.
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
class InAndOut:
    """A tone in one channel measured twice: with noise reduction in (on one side) and with it out."""

    frequency_hz: float
    level_db: float
    """Level re the reference level of the noise reduction: before encoding, or at the decoder's input."""
    with_it: Result
    """`level` or `record_replay_level`."""
    without: Result
    """The same quantity of the same tone and channel."""


def encoding_error(tones: Sequence[InAndOut], system: System = "type-b") -> Measured:
    """`encoding_error` of each tone, dB: the boost minus its nominal value. Target 0, tolerance 1.5 dB."""
    return _errors(
        "encoding_error", tones, lambda t, change: change - boost_db(system, t.frequency_hz, t.level_db), system
    )


def decoding_error(tones: Sequence[InAndOut], system: System = "type-b") -> Measured:
    """`decoding_error` of each tone, dB: positive when the cut is too large. Target 0, tolerance 1.5 dB.

    If the actual level at the decoder's input is known (as measured with it out), give that: a wrong replay level
    changes the cut and is not a fault of the circuit.
    """
    return _errors(
        "decoding_error",
        tones,
        lambda t, change: -change - boost_db(system, t.frequency_hz, t.level_db + change),
        system,
    )


def _errors(
    quantity: str, tones: Sequence[InAndOut], error: Callable[[InAndOut, float], float], system: System
) -> Measured:
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
