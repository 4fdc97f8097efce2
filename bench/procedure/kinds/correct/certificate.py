"""Certificate of a check tape: what is recorded on it, with the error of the replay that read it taken off."""

from __future__ import annotations

import math
from dataclasses import replace

from bench.measure.reading import NoReading, Result
from bench.procedure.kinds.bench import Bench
from bench.procedure.state.journal import ReadingRecord


def certified(reading: Result, bench: Bench) -> Result:
    """Turn a level or response from record to replay into a figure of the tape itself.

    Replay was read with the reference tape in this session. Its error there, at the nearest tone of the same channel,
    is taken off; its uncertainty, which includes that of the reference tape, is added (root of the sum of squares).

    Args:
        reading: a reading of the check tape.
        bench: its journal holds the readings of the reference tape.
    """
    if isinstance(reading, NoReading):
        return reading
    replayed = _of_reference_tape(reading, bench)
    if replayed is None or replayed.measured is None or replayed.off is None:
        return replace(reading, method=replace(reading.method, replay_unproved=True))
    known = reading.widened("reference tape", replayed.measured.uncertainty)
    method = replace(reading.method, replay_error_db=replayed.off)
    return replace(known, value=reading.value - replayed.off, method=method)


def _of_reference_tape(reading: Result, bench: Bench) -> ReadingRecord | None:
    """The last reading of the nearest tone of the reference tape; None where it was not played."""
    quantity = "level" if reading.quantity == "record_replay_level" else "response"
    hz = reading.frequency_hz
    found = [
        (abs(math.log(r.reading.frequency_hz / hz)), -n, r)
        for n, r in enumerate(bench.journal.records())
        if r.source == "reference tape"
        and r.reading.quantity == quantity
        and r.reading.channel == reading.channel
        and r.reading.frequency_hz
        and hz
        and r.off is not None
    ]
    return min(found)[2] if found else None
