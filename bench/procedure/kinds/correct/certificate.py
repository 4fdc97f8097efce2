"""The certificate of a work tape: what is read of it carries what the machine's replay left uncertain."""

from __future__ import annotations

import math
from dataclasses import replace

from bench.measure.reading import Reading
from bench.procedure.kinds.activity import Situation


def certified(reading: Reading, situation: Situation) -> Reading:
    """A level or response from record to replay, as a figure of the tape itself.

    The replay was proved by the reference tape in this session. What it was off by there, at the nearest tone of the
    same channel, and the reference tape's own uncertainty go into the reading's (root of the sum of squares).

    Args:
        reading: of the tape that is being made.
        situation: its journal holds the play of the reference tape.
    """
    if reading.value is None or reading.uncertainty is None:
        return reading
    error = _replay_error(reading, situation)
    if error is None:
        return replace(reading, method=f"{reading.method}; replay was not proved in this session")
    own = situation.job.reference_tape.uncertainty_db
    return replace(
        reading,
        uncertainty=math.hypot(reading.uncertainty, own, error),
        method=f"{reading.method}; replay within {error:.2f} dB of the reference tape, which is known to ±{own:g} dB",
    )


def _replay_error(reading: Reading, situation: Situation) -> float | None:
    """How far replay was off at the nearest tone of the reference tape, dB; None where it was not played."""
    quantity = "level" if reading.quantity == "record_replay_level" else "response"
    found = [
        (abs(math.log((r.reading.frequency_hz or 1.0) / (reading.frequency_hz or 1.0))), -n, r)
        for n, r in enumerate(situation.journal.records())
        if r.source == "reference tape"
        and r.reading.quantity == quantity
        and r.reading.channel == reading.channel
        and r.reading.value is not None
        and r.verdict is not None
        and r.verdict.target is not None
    ]
    if not found:
        return None
    nearest = min(found, key=lambda f: f[:2])[2]
    value, target = nearest.reading.value, nearest.verdict.target if nearest.verdict is not None else None
    return abs(value - target) if value is not None and target is not None else None
