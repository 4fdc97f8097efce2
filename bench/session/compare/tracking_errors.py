"""The error of level and treble that a session measured from recording to replay."""

from __future__ import annotations

from dataclasses import dataclass

from bench.measure.quantities.mistracking import errors_of
from bench.measure.reading import Channel
from bench.problem import Problem
from bench.procedure.state.record_to_replay import record_to_replay
from bench.session.record.record import SessionRecord
from bench.tape.mistracking_map import ReplayErrors
from bench.words.figures import decibels
from bench.words.names import STAGES
from bench.words.sentences import counted


@dataclass(frozen=True, slots=True)
class MeasuredErrors:
    """What a session shows about record to replay."""

    channels: dict[Channel, ReplayErrors]
    said: str
    """The readings that they come from, in words."""


def measured_errors(session: SessionRecord) -> MeasuredErrors:
    """Level error and treble errors of each channel: as left, or of the latest stage that was measured.

    Readings with the noise reduction in are ignored.

    Raises:
        Problem: nothing was measured from record to replay, or an error is implausible for a machine.
    """
    found = record_to_replay(session.readings)
    if found is None:
        raise Problem(
            f"{session.folder}: no level was read from record to replay in this session; "
            "run fit-for-noise-reduction first"
        )
    said = f"{STAGES[found.stage]}: level at {decibels(found.level_sent_db)}"
    if found.response_sent_db is not None:
        count = len({r.frequency_hz for r in found.readings if r.quantity == "response"})
        said += f", response at {decibels(found.response_sent_db)} and {counted(count, 'frequency', 'frequencies')}"
    else:
        said += ", and no response was measured, so that treble counts as right"
    return MeasuredErrors(errors_of(found.readings), said)
