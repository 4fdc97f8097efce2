"""What a reading measures, and under which conditions: only like is compared with like."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bench.figures import hertz
from bench.measure.catalogue import QUANTITIES, UNITS
from bench.measure.reading import Channel, Source
from bench.measure.stage import Stage
from bench.procedure.state.journal import ReadingRecord
from bench.session.record.record import JobFacts, SessionRecord
from bench.words.names import CHANNELS
from bench.words.readings import state_words
from bench.words.sentences import differing


@dataclass(frozen=True, slots=True)
class Subject:
    """What was measured."""

    source: str
    quantity: str
    channel: Channel
    frequency_hz: float | None
    sent_db: float | None
    lot: str = ""
    """Which of several tapes it is of."""
    noise_reduction: str = "off"
    direction: str = ""

    @property
    def unit(self) -> str:
        """Unit of its readings."""
        return QUANTITIES[self.quantity].unit

    @property
    def unit_of_change(self) -> str:
        """Unit of the difference between two readings: dB for readings in dBFS."""
        return UNITS[self.unit].of_a_difference or self.unit

    @property
    def text(self) -> str:
        """In words: "Response, left, 10 kHz, −20 dB, record-replay"."""
        return f"{self.named}, {self.source}"

    @property
    def named(self) -> str:
        """The text without the source."""
        return ", ".join([QUANTITIES[self.quantity].title, CHANNELS[self.channel], *self.details])

    @property
    def details(self) -> list[str]:
        """What distinguishes it from other readings of the quantity in one channel: its tone and its conditions."""
        tone = [hertz(self.frequency_hz)] if self.frequency_hz else []
        return [*tone, *state_words(self.sent_db, self.lot, self.noise_reduction, self.direction)]


@dataclass(frozen=True, slots=True)
class Conditions:
    """How and on what it was measured."""

    method: str
    reference: str
    tape: str
    """The reference tape, or the tape that was recorded on."""
    scale: str
    """What full scale is, for a reading in dBFS: the interface and its calibration."""


SHARED: tuple[Source, ...] = ("reference tape", "interface")
"""Sources of uncertainty that readings in the same conditions share, so that they cancel in a difference."""

_NAMES = {
    "method": "methods",
    "reference": "references",
    "tape": "tapes",
    "scale": "interfaces",
}


def in_order(subject: Subject) -> tuple[object, ...]:
    """Sort key of subjects: by source and quantity, the loudest first, then by frequency."""
    hz, db = subject.frequency_hz or 0.0, subject.sent_db or 0.0
    return (
        subject.source,
        list(QUANTITIES).index(subject.quantity),
        -db,
        hz,
        subject.channel,
        subject.lot,
        subject.noise_reduction,
        subject.direction,
    )


def subject_of(record: ReadingRecord) -> Subject | None:
    """The subject of a reading; None for an event, which has no counterpart elsewhere."""
    r = record.reading
    if QUANTITIES[r.quantity].event:
        return None
    found = QUANTITIES[r.quantity].frequency == "found"
    hz = None if r.frequency_hz is None or found else float(f"{r.frequency_hz:.3g}")
    states = (record.lot, record.noise_reduction, record.direction)
    return Subject(record.source, r.quantity, r.channel, hz, record.sent_db, *states)


def conditions_of(record: ReadingRecord, job: JobFacts) -> Conditions:
    """The conditions of a reading."""
    r = record.reading
    sheets = next((f for f in job.further if f.setting == record.lot), job)
    tape = sheets.reference_tape if record.source == "reference tape" else sheets.tape
    scale = f"{job.port}, {job.calibration}" if r.unit == "dBFS" else ""
    return Conditions(str(r.method.kind), str(r.reference), tape, scale)


def differences(a: Conditions, b: Conditions) -> list[str]:
    """Each condition in which two readings differ, as a sentence; empty if they can be compared."""
    return differing((name, getattr(a, field), getattr(b, field)) for field, name in _NAMES.items())


def last_of(session: SessionRecord, stages: Iterable[Stage], *, failed: bool = False) -> dict[Subject, ReadingRecord]:
    """The last reading of each subject at the first of these stages that has one, an owner's tape aside.

    Args:
        session: session to search.
        stages: the stages, in order of preference.
        failed: whether a `NoReading` counts where no reading has a value.
    """
    out: dict[Subject, ReadingRecord] = {}
    for stage in reversed(list(stages)):
        for record in session.valid_readings:
            subject = subject_of(record) if record.source != "owner's tape" else None
            if subject and record.stage == stage and (record.measured is not None or (failed and subject not in out)):
                out.pop(subject, None)
                out[subject] = record
    return out
