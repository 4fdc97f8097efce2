"""The level of the source at the output, with which a recording is compared.

The record level control and the output control move source and tape alike. So the record level is the difference of
the two, whatever the controls are set to.
"""

from __future__ import annotations

from bench.measure.reading import Channel
from bench.procedure.kinds.bench import Bench
from bench.procedure.state.journal import newest


def source_db(bench: Bench, channel: Channel) -> tuple[float, float] | None:
    """The last source level of a channel relative to what was sent, and its uncertainty, dB; None without a reading."""
    found = (reading for _, reading in newest(bench.journal.records(), "source_level", channel))
    return next(((reading.value, reading.uncertainty) for reading in found), None)
