"""Converts the readings of a session into the input of a diagnosis."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace

from bench.diagnosis.readings.finding import Finding, Source, Stage
from bench.measure.reading import Reading
from bench.procedure.model.step_base import HIGHEST_HZ
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Answered, Looked
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.outcome import last_attempts

STAGES: dict[str, Stage] = {"found-dirty": "before-cleaning", "found-clean": "after-cleaning", "left": "as-left"}
SOURCES: dict[str, Source] = {
    "reference tape": "reference-tape",
    "record-replay": "record-replay",
    "machine": "tape-stopped",
}
AIMED = {
    "level",
    "response",
    "record_replay_level",
    "source_level",
    "azimuth_delay",
    "azimuth_angle",
    "speed_error",
    "speed_drift",
    "overbias",
}
"""Quantities whose error against the target is used, rather than their value."""
LEAST_TARGET = 0.005
"""Target nearer to 0 than this is 0, in the unit of the reading."""
CIRCUITS: dict[str, Source] = {"encoding_error": "encoder", "decoding_error": "decoder"}


def findings_of(
    records: Iterable[ReadingRecord], *, adjusted: bool = True, magnetised: Collection[str] = ()
) -> tuple[Finding, ...]:
    """The readings of a session: the last attempt at each step, with noise reduction out and the tape running forwards.

    What was read before demagnetising stays evidence where the same step was done again afterwards.

    Args:
        records: the records of the session.
        adjusted: whether a trimmer was turned; if not, as-left readings count as found.
        magnetised: the ids of readings that were taken before the machine was demagnetised.
    """
    every = tuple(records)
    before = last_attempts(tuple(r for r in every if r.id in magnetised))
    out = []
    for record in (*before, *last_attempts(tuple(r for r in every if r.id not in magnetised))):
        if record.noise_reduction != "off" and record.reading.quantity not in CIRCUITS:
            continue
        if record.direction or record.lot:
            continue
        found = _finding(record, adjusted)
        if found and found.stage == "after-cleaning" and record.id in magnetised:
            found = replace(found, stage="before-demagnetising")
        if found:
            out.append(found)
    return tuple(out)


def _finding(record: ReadingRecord, adjusted: bool) -> Finding | None:
    reading = record.reading
    if record.source == "owner's tape":
        return None  # it also contains the errors of the machine that recorded it
    if reading.frequency_hz is not None and not 0.0 <= reading.frequency_hz <= HIGHEST_HZ:
        return None  # a damaged file: no tone has such a frequency
    value: float | None = None
    from_target = False
    if isinstance(reading, Reading):
        if reading.bound and reading.quantity not in ("erasure", "separation"):
            return None
        value = reading.value
        if reading.quantity in AIMED:
            if record.verdict is not None and record.off is not None:
                value, from_target = record.off, abs(reading.value - record.off) > LEAST_TARGET
            elif reading.unit == "dBFS":
                return None
    stage = STAGES[record.stage]
    if stage == "as-left" and not adjusted:
        stage = "after-cleaning"
    return Finding(
        id=record.id,
        stage=stage,
        source=CIRCUITS.get(reading.quantity, SOURCES[record.source]),
        quantity=reading.quantity,
        channel=reading.channel,
        value=value,
        unit="dB" if reading.unit == "dBFS" and reading.quantity == "level" else reading.unit,
        uncertainty=reading.uncertainty if isinstance(reading, Reading) else 0.0,
        frequency_hz=reading.frequency_hz,
        sent_db=record.sent_db,
        method=str(reading.method.kind),
        driven=_driven(record),
        at_least=isinstance(reading, Reading) and reading.bound == "at least",
        from_target=from_target,
        out=record.verdict.word == "out" if record.verdict is not None else None,
    )


def _driven(record: ReadingRecord) -> str:
    if record.reading.quantity != "separation":
        return ""
    return "right" if record.step.endswith("right") else "left"


def answers_of(events: Iterable[Event]) -> dict[str, str]:
    """Answers by the last part of the step's name; results of inspections by the name of the cause."""
    kept = tuple(events)
    answers = {e.step.rpartition("/")[2]: str(e.answer) for e in of_kind(kept, Answered)}
    return answers | {e.cause: "seen" if e.seen else "not seen" for e in of_kind(kept, Looked)}
