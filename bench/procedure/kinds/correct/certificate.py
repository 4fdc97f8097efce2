"""Certificate of a check tape: its readings include the uncertainty of the replay with which they were taken."""

from __future__ import annotations

import math
from dataclasses import replace

from bench.measure.reading import NoReading, Result
from bench.procedure.kinds.bench import Bench


def certified(reading: Result, bench: Bench) -> Result:
    """Turn a level or response from record to replay into a figure of the tape itself.

    Replay was proved with the reference tape in this session. Its deviation there, at the nearest tone of the same
    channel, and the uncertainty of the reference tape are added to that of the reading (root of the sum of squares).

    Args:
        reading: a reading of the check tape.
        bench: its journal holds the readings of the reference tape.
    """
    if isinstance(reading, NoReading):
        return reading
    error = _replay_error(reading, bench)
    if error is None:
        return replace(reading, method=replace(reading.method, replay_unproved=True))
    own = bench.job.reference_tape.uncertainty_db
    known = reading.widened("reference tape", own).widened("other reading", error)
    return replace(known, method=replace(reading.method, replay_within_db=error, replay_known_db=own))


def _replay_error(reading: Result, bench: Bench) -> float | None:
    """Deviation of replay at the nearest tone of the reference tape, dB; None where it was not played."""
    quantity = "level" if reading.quantity == "record_replay_level" else "response"
    found = [
        (abs(math.log(r.reading.frequency_hz / reading.frequency_hz)), -n, abs(r.off))
        for n, r in enumerate(bench.journal.records())
        if r.source == "reference tape"
        and r.reading.quantity == quantity
        and r.reading.channel == reading.channel
        and r.reading.frequency_hz
        and reading.frequency_hz
        and r.off is not None
    ]
    return min(found)[2] if found else None
