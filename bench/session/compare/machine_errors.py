"""The replay errors and the recording errors of a machine, as a session shows them.

Replay is read from the reference tape, each reading minus its target. Record to replay on the machine's own tape
contains both errors, so the recording error is that minus the replay error. Speed and, on two heads, azimuth need no
reading from record to replay: a machine always agrees with its own recording.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from bench.measure.reading import Channel
from bench.measure.stage import Stage
from bench.problem import Problem
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.record_to_replay import LATEST_FIRST, record_to_replay
from bench.session.compare.subject import Subject, last_of
from bench.session.record.inputs import machine_sheet
from bench.session.record.record import SessionRecord
from bench.tape.geometry import TRACK_FORMATS

What = Literal["level", "response", "azimuth", "speed"]
SAME_SPACING = 0.1
"""A head whose track spacing differs by more than this fraction has another format."""


@dataclass(frozen=True, slots=True)
class Value:
    """A figure with its expanded (k = 2) uncertainty."""

    value: float
    uncertainty: float

    def __add__(self, other: Value) -> Value:
        return Value(self.value + other.value, math.hypot(self.uncertainty, other.uncertainty))

    def __sub__(self, other: Value) -> Value:
        return Value(self.value - other.value, math.hypot(self.uncertainty, other.uncertainty))


@dataclass(frozen=True, slots=True)
class ErrorKind:
    """Which error: its quantity, channel and frequency."""

    what: What
    channel: Channel
    frequency_hz: float | None = None
    """Frequency of a response or, for a level, of its tone; else None."""


EXACT = Value(0.0, 0.0)
"""An error that a machine cannot have on its own tape."""
SPEED = ErrorKind("speed", "both")
AZIMUTH = ErrorKind("azimuth", "left-right")


@dataclass(frozen=True, slots=True)
class MachineErrors:
    """A machine as a session left it."""

    machine: str
    session: str
    when: datetime
    heads: int
    speed_mm_s: float
    spacing_mm: float
    width_mm: float
    equalisation: str
    reference_level: str
    reference_tape: str
    replay: dict[ErrorKind, Value]
    """Replay of the reference tape: dB, dB, µs, %."""
    own: dict[ErrorKind, Value]
    """Record to replay on the machine itself."""
    missing: tuple[str, ...]
    """What was not read, in words."""


def machine_errors(session: SessionRecord, stage: Stage | None = None) -> MachineErrors:
    """The errors that a session read at a stage; by default as left, or as found where nothing was read as left.

    Raises:
        Problem: its copy of the machine sheet is missing, so that speed and tracks are not known.
    """
    sheet = _sheet(session)
    spacing = _number(session, sheet, "track_spacing_mm")
    width = min(TRACK_FORMATS, key=lambda t: abs(math.log(t.spacing_mm / spacing)))
    if abs(width.spacing_mm / spacing - 1) > SAME_SPACING:
        raise Problem(f"{session.folder}: tracks {spacing:g} mm apart are of no format that is known here")
    job = session.job
    name = f"{job.machine}, practice machine {job.seed}" if job.port_kind == "practice" else job.machine
    replay, own = _replay(session, stage), _own(session, stage)
    missing = [words for kind, words in _WANTED if all(t.what != kind for t in replay)]
    if not own:
        missing.append("record to replay")
    return MachineErrors(
        machine=name,
        session=session.folder.resolve().name,
        when=session.begun,
        heads=job.heads,
        speed_mm_s=_number(session, sheet, "speed_mm_s"),
        spacing_mm=spacing,
        width_mm=width.width_mm,
        equalisation=job.equalisation,
        reference_level=job.reference_level,
        reference_tape=job.reference_tape,
        replay=replay,
        own=own,
        missing=tuple(missing),
    )


_WANTED: tuple[tuple[What, str], ...] = (
    ("level", "replay level"),
    ("response", "replay response"),
    ("azimuth", "replay azimuth"),
    ("speed", "speed"),
)


def _replay(session: SessionRecord, stage: Stage | None) -> dict[ErrorKind, Value]:
    out: dict[ErrorKind, Value] = {}
    azimuth_hz: float | None = None
    for subject, record in _last_forward(session, stage, "reference tape"):
        error = _error(record)
        if error is None:
            continue
        if subject.quantity == "level":
            out.setdefault(ErrorKind("level", subject.channel), error)
        elif subject.quantity == "response":
            out[ErrorKind("response", subject.channel, subject.frequency_hz)] = error
        elif subject.quantity == "speed_error" and SPEED not in out:
            out[SPEED] = error
        elif subject.quantity == "azimuth_delay" and (
            azimuth_hz is None or (subject.frequency_hz is not None and subject.frequency_hz >= azimuth_hz)
        ):
            azimuth_hz, out[AZIMUTH] = subject.frequency_hz, error
    return out


def _last_forward(session: SessionRecord, stage: Stage | None, source: str) -> list[tuple[Subject, ReadingRecord]]:
    """The last readings from a source with the tape running forwards, at the machine's own setting."""
    last = last_of(session, LATEST_FIRST[:2] if stage is None else (stage,))
    other_setting = bool(session.job.further)
    return [
        (subject, record)
        for subject, record in last.items()
        if subject.source == source and not subject.direction and not (record.lot and other_setting)
    ]


def _error(record: ReadingRecord) -> Value | None:
    """A reading minus its target, which includes the corrections of the certificate."""
    r, off = record.measured, record.off
    return None if r is None or off is None or r.bound else Value(off, r.uncertainty)


def _own(session: SessionRecord, stage: Stage | None) -> dict[ErrorKind, Value]:
    found = record_to_replay([r for r in session.readings if stage in (None, r.stage)])
    out: dict[ErrorKind, Value] = {}
    for r in found.readings if found else ():
        if r.quantity == "record_replay_level":
            out[ErrorKind("level", r.channel)] = Value(r.value, r.uncertainty)
        else:
            hz = None if r.frequency_hz is None else float(f"{r.frequency_hz:.3g}")
            out[ErrorKind("response", r.channel, hz)] = Value(r.value, r.uncertainty)
    if not out:
        return out
    out[SPEED] = EXACT
    if session.job.heads == 2:
        out[AZIMUTH] = EXACT
        return out
    for subject, record in _last_forward(session, stage, "record-replay"):
        own = record.measured
        if subject.quantity == "azimuth_delay" and own:
            out[AZIMUTH] = Value(own.value, own.uncertainty)
    return out


def _sheet(session: SessionRecord) -> dict[str, Any]:
    sheet = machine_sheet(session.folder, session.inputs)
    if not sheet:
        raise Problem(
            f"{session.folder}: its copy of the machine's sheet is missing or unreadable, so that tape speed and "
            "tracks are not known; restore inputs/sheets/machines from a copy"
        )
    return sheet


def _number(session: SessionRecord, sheet: dict[str, Any], key: str) -> float:
    value = sheet.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not value > 0:
        raise Problem(f"{session.folder}: its copy of the machine's sheet has no {key}; restore it from a copy")
    return float(value)
