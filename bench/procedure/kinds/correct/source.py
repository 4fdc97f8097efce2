"""The level of the source at the output, which a recording is compared with.

The record level control and the output control move source and tape alike. So the record level is the difference of
the two, whatever the controls are set to.
"""

from __future__ import annotations

from bench.measure.reading import Channel
from bench.procedure.kinds.bench import Bench


def source_db(bench: Bench, channel: Channel) -> tuple[float, float] | None:
    """The last source level of a channel relative to what was sent, and its uncertainty, dB; None without a reading."""
    for record in reversed(bench.journal.records()):
        reading = record.measured
        if reading is not None and reading.quantity == "source_level" and reading.channel == channel:
            return reading.value, reading.uncertainty
    return None
