"""The contents of a session, and their form in `session.toml`."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from bench.measure.method import UNSTATED
from bench.measure.reading import NoReading, ReferenceTone
from bench.procedure.state.conclusion import Conclusion
from bench.procedure.state.dependencies import is_knob
from bench.procedure.state.event_kinds import KIND_OF, Event, of_kind
from bench.procedure.state.events import Done, Turned
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.judge_run import conclude
from bench.procedure.state.valid_readings import valid_readings
from bench.session.record.steps import StepFacts
from bench.session.record.toml_table import lines, section, table_of
from bench.words.figures import tape_speed

SCHEMA = 3
"""Version of `session.toml`. `bench.session.record.migrate` converts earlier ones; later ones are opened read-only."""


@dataclass(frozen=True, slots=True)
class TrimmerTurns:
    """How a trimmer was turned at a step of an earlier session."""

    trimmer: str
    degrees: tuple[float, ...]
    """Turns clockwise, in order."""


@dataclass(frozen=True, slots=True)
class FurtherTape:
    """The names of a further tape that the machine was lined up for."""

    setting: str
    """Setting of the machine for it, which is the lot of its readings."""
    tape: str
    reference_tape: str
    speed: str
    equalisation: str


@dataclass(frozen=True, slots=True)
class JobFacts:
    """What is on the bench, as names, so that the store does not depend on whatever runs it."""

    machine: str
    tape: str
    reference_tape: str
    procedure: str
    """Title of the procedure."""
    speed: str
    equalisation: str
    reference_level: str
    heads: int
    port: str
    """Its everyday name: that of the device or of the file, or "practice machine"."""
    port_kind: str = ""
    sample_rate: int = 0
    calibration: str = "levels in dBFS: no interface sheet"
    procedure_id: str = ""
    """File name of the procedure without `.toml`."""
    seed: int = 0
    """Number of the practice machine; 0 for a real machine."""
    turned_before: tuple[TrimmerTurns, ...] = ()
    """Earlier turns of its trimmers when the session began, in order."""
    exercise: str | None = None
    """The encoded sheet of its exercise, with every hidden fault; None if it is no exercise."""
    trainee: str = ""
    """Name of the trainee."""
    tape_format: Literal["", "cassette", "open reel"] = ""
    """Format of the tape in use; "" in an earlier session."""
    answers: str = ""
    """The question of the job, as `Procedure.answers` names it; "" for none."""
    further: tuple[FurtherTape, ...] = ()
    """The further tapes that the machine was lined up for, in order."""

    @property
    def tapes(self) -> dict[str, str]:
        """Each tape that the machine was lined up for, by lot; with its speed where speeds differ."""
        speeds = {"": self.speed_text, **{f.setting: f.speed for f in self.further}}
        names = {"": self.tape, **{f.setting: f.tape for f in self.further}}
        if len(set(speeds.values())) == 1:
            return names
        return {lot: f"{name} at {speeds[lot]}" for lot, name in names.items()}

    def reference_tape_of(self, lot: str) -> str:
        """The reference tape by which replay was judged for a lot."""
        return next((f.reference_tape for f in self.further if f.setting == lot), self.reference_tape)

    @property
    def speed_text(self) -> str:
        """The tape speed in the units of the trade; a text that is not a figure in mm/s is unchanged."""
        figure, _, unit = self.speed.partition(" ")
        plain = unit == "mm/s" and len(figure) < 9 and figure.replace(".", "", 1).isdecimal()
        return tape_speed(float(figure)) if plain else self.speed


@dataclass(frozen=True, slots=True)
class InputFile:
    """A procedure or sheet that the session used, copied into its folder."""

    path: str
    """Relative to the session's folder, with forward slashes."""
    sha256: str


@dataclass(frozen=True, slots=True)
class EvidenceFile:
    """The sound behind readings, kept so that it can be measured again."""

    path: str
    """Relative to the session's folder, with forward slashes."""
    sha256: str
    readings: tuple[str, ...]
    """Ids of the readings that were taken from it."""


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """A whole session, as read from disk. Its entries are in the order in which they happened, whatever their times."""

    folder: Path
    schema: int
    program: str
    begun: datetime
    job: JobFacts
    inputs: tuple[InputFile, ...]
    readings: tuple[ReadingRecord, ...]
    events: tuple[Event, ...]
    steps_done: tuple[str, ...]
    read_only: str = ""
    """Why it must not be written, in a sentence; "" where it may be."""
    evidence: tuple[EvidenceFile, ...] = ()

    steps: tuple[StepFacts, ...] = ()
    """Steps of its job, in order; empty for an earlier schema whose copy of the procedure is missing."""

    @property
    def conclusion(self) -> Conclusion:
        """The verdict on the session."""
        return conclude(self.steps, self.readings, self.events, self.steps_done, self.job.answers)

    @property
    def done(self) -> bool:
        """Whether it came to its end."""
        return next(of_kind(self.events, Done), None) is not None

    @property
    def is_open_exercise(self) -> bool:
        """Whether it is an unfinished exercise, in which nothing may reveal what is wrong."""
        return self.job.exercise is not None and not self.done

    @property
    def adjusted(self) -> bool:
        """Whether a trimmer was turned or, where the program can't see trimmers, an adjusting step has a reading.

        The user's controls, such as the record level control, are not trimmers.
        """
        if self.sees_turns:
            return any(any(turned.degrees) and not is_knob(turned.trimmer) for turned in of_kind(self.events, Turned))
        adjusting = {step.id for step in self.steps if step.kind == "adjust"}
        return any(r.step in adjusting and r.reading.quantity != "source_level" for r in self.readings)

    @property
    def valid_readings(self) -> tuple[ReadingRecord, ...]:
        """The readings that still hold: those of the last attempts, as left only those taken after the last turn."""
        return valid_readings(self.readings, self.events, {s.id: s for s in self.steps}, sees_turns=self.sees_turns)

    @property
    def sees_turns(self) -> bool:
        """Whether the program could see trimmers being turned."""
        return self.job.port_kind == "practice" or next(of_kind(self.events, Turned), None) is not None

    @property
    def titles(self) -> dict[str, str]:
        """The titles of the steps by id."""
        return {step.id: step.title for step in self.steps}


def head_text(record: SessionRecord) -> str:
    """The beginning of `session.toml`: everything but steps, readings and events, with `done` in the first lines.

    It holds what a list of many sessions shows, so that the list need not read them whole.
    """
    job = record.job
    head = {
        "schema": SCHEMA,
        "done": record.done,
        "reference_plays": reference_plays(record.readings),
        "program": record.program,
        "begun": record.begun,
        "steps_done": record.steps_done,
    }
    on_bench = {
        "machine": job.machine,
        "heads": job.heads,
        "tape": job.tape,
        "tape_format": job.tape_format or None,
        "reference_tape": job.reference_tape,
        "procedure": job.procedure,
        "procedure_id": job.procedure_id,
        "trainee": job.trainee,
        "answers": job.answers,
        "speed": job.speed,
        "equalisation": job.equalisation,
        "reference_level": job.reference_level,
        "further": job.further or None,
    }
    port = {
        "name": job.port,
        "kind": job.port_kind,
        "sample_rate": job.sample_rate,
        "calibration": job.calibration,
        "seed": job.seed or None,
        "turned_before": job.turned_before or None,
        "exercise": job.exercise,
    }
    text = lines(head) + section("[verdict]", table_of(record.conclusion))
    text += section("[job]", _filled(on_bench)) + section("[port]", _filled(port))
    text += "".join(section("[[inputs]]", table_of(file)) for file in record.inputs)
    return text + "".join(section("[[evidence]]", table_of(file)) for file in record.evidence)


def step_text(step: StepFacts) -> str:
    """One `[[steps]]` table."""
    return section("[[steps]]", table_of(step))


def reference_plays(readings: Iterable[ReadingRecord]) -> int:
    """Number of passes of the reference tape, from the readings: one for each attempt at a step."""
    return len({(r.step, r.attempt) for r in readings if r.source == "reference tape"})


def reading_text(record: ReadingRecord) -> str:
    """One `[[readings]]` table. TOML has no null, so absent facts are left out."""
    reading, measured, verdict = record.reading, record.measured, record.verdict
    table = {
        "id": record.id,
        "step": record.step,
        "stage": record.stage,
        "judged": record.judged,
        "attempt": record.attempt,
        "lot": record.lot,
        "noise_reduction": record.noise_reduction if record.noise_reduction != "off" else None,
        "direction": record.direction,
        "source": record.source,
        "quantity": reading.quantity,
        "channel": reading.channel,
        "frequency_hz": reading.frequency_hz,
        "sent_db": record.sent_db,
        "value": measured.value if measured else None,
        "bound": measured.bound if measured else None,
        "reason": reading.reason if isinstance(reading, NoReading) else None,
        "unit": reading.unit,
        "uncertainty": measured.stated_uncertainty if measured else None,
        "budget": (measured.budget or None) if measured else None,
        **_reference(reading.reference),
        "method": None if reading.method == UNSTATED else table_of(reading.method),
        "time_in_capture_s": measured.time_s if measured else None,
        "verdict": verdict.word if verdict else None,
        "target": verdict.target if verdict else None,
        "tolerance": verdict.tolerance if verdict else None,
        "target_source": verdict.source if verdict else None,
        "target_limit": verdict.limit if verdict else None,
        "accepted_because": record.accepted_because,
        "time": record.time,
    }
    return section("[[readings]]", _filled(table))


def _reference(reference: str | ReferenceTone) -> dict[str, Any]:
    if isinstance(reference, ReferenceTone):
        return {"reference_hz": reference.hz, "reference_db": reference.db}
    return {"reference": reference}


def event_text(event: Event) -> str:
    """One `[[events]]` table."""
    return section("[[events]]", {"kind": KIND_OF[type(event)]} | table_of(event))


def finite(record: ReadingRecord) -> ReadingRecord:
    """The record; as a `NoReading` where its value or its uncertainty is not a finite number."""
    reading = record.measured
    if reading is None or (math.isfinite(reading.value) and math.isfinite(reading.uncertainty)):
        return record
    because = "the measurement gave no finite number"
    hz, method, reference = reading.frequency_hz, reading.method, reading.reference
    nothing = NoReading(reading.quantity, reading.channel, because, frequency_hz=hz, method=method, reference=reference)
    return replace(record, reading=nothing)


def _filled(table: dict[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in table.items() if v is not None and v != ""}
