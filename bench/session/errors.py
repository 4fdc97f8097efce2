"""The error of level and treble that a session measured from recording to replay."""

from __future__ import annotations

from dataclasses import dataclass

from bench.measure.names import Channel
from bench.problem import Problem
from bench.procedure.journal import ReadingRecord
from bench.procedure.outcome import last_attempts
from bench.procedure.steps import Stage
from bench.session.record import SessionRecord
from bench.session.words import CHANNELS, STAGES, decibels
from bench.tape.tracking import Errors

LATEST_FIRST: tuple[Stage, ...] = ("left", "found-clean", "found-dirty")
SIDES: tuple[Channel, ...] = ("left", "right", "mono")


@dataclass(frozen=True, slots=True)
class MeasuredErrors:
    """What a session says of record to replay."""

    channels: dict[Channel, Errors]
    uncertainty_db: float
    """The largest of the readings used, expanded (k = 2)."""
    said: str
    """Which readings they are, in words."""


def measured_errors(session: SessionRecord) -> MeasuredErrors:
    """Level error and treble errors of each channel: as left, or of the latest stage that was measured.

    Of the levels at which a tone was sent the lowest counts, for tape saturates at high ones; of several readings of
    one tone the last.

    Raises:
        Problem: nothing was measured from record to replay.
    """
    records = [
        r
        for r in last_attempts(session.readings)
        if r.source == "record-replay" and r.sent_db is not None and r.reading.value is not None
    ]
    for stage in LATEST_FIRST:
        levels = _lowest([r for r in records if r.stage == stage and r.reading.quantity == "record_replay_level"])
        if levels:
            return _errors(levels, [r for r in records if r.stage == stage and r.reading.quantity == "response"], stage)
    raise Problem(
        f"{session.folder}: no level was read from record to replay in this session; run fit-for-noise-reduction first"
    )


def _lowest(records: list[ReadingRecord]) -> list[ReadingRecord]:
    """Those of the lowest level sent; of each channel and frequency the last."""
    sent = min((r.sent_db for r in records if r.sent_db is not None), default=None)
    last = {(r.reading.channel, r.reading.frequency_hz): r for r in records if r.sent_db == sent}
    return list(last.values())


def _errors(levels: list[ReadingRecord], responses: list[ReadingRecord], stage: Stage) -> MeasuredErrors:
    responses = _lowest(responses)
    channels: dict[Channel, Errors] = {}
    for side in SIDES:
        level = next((r.reading for r in reversed(levels) if r.reading.channel == side), None)
        if level is None or level.value is None or level.frequency_hz is None:
            continue
        treble = tuple(
            (r.reading.frequency_hz, r.reading.value)
            for r in responses
            if r.reading.channel == side and r.reading.frequency_hz and r.reading.value is not None
        )
        where = "" if side == "mono" else f" in the {CHANNELS[side]} channel"
        channels[side] = Errors(
            level.value, tuple(p for p in treble if p[0] != level.frequency_hz), level.frequency_hz, where
        )
    said = f"{STAGES[stage]}: level at {decibels(levels[0].sent_db or 0.0)}"
    if responses:
        count = len({r.reading.frequency_hz for r in responses})
        said += f", response at {decibels(responses[0].sent_db or 0.0)} and {count} frequencies"
    else:
        said += ", and no response was measured, so that treble counts as right"
    uncertainties = [r.reading.uncertainty or 0.0 for r in (*levels, *responses)]
    return MeasuredErrors(channels, max(uncertainties), said)
