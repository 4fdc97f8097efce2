"""Reads a session back: a damaged one as far as possible, one of a later version read-only."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from bench.bounded_toml import OutOfBoundsError, clean, cleaned, parse
from bench.measure.catalogue import QUANTITIES
from bench.measure.reading import NoReading, Reading, Result
from bench.problem import Problem
from bench.procedure.state.event_kinds import KINDS, Event
from bench.procedure.state.journal import ReadingRecord
from bench.session.record.exercise_encoding import decode_exercise, encode_exercise
from bench.session.record.migrate import migrate
from bench.session.record.migrate_methods import reference_of
from bench.session.record.paths import FILE_NAME
from bench.session.record.record import SCHEMA, EvidenceFile, InputFile, JobFacts, SessionRecord
from bench.session.record.salvage import salvage
from bench.session.record.steps import StepFacts, named_noise_reduction

T = TypeVar("T")

_JOB = TypeAdapter(JobFacts)
_RECORD = TypeAdapter(ReadingRecord)
_READING = TypeAdapter(Reading)
_NO_READING = TypeAdapter(NoReading)
_EVENTS: dict[str, TypeAdapter[Event]] = {name: TypeAdapter(kind) for name, kind in KINDS.items()}
_STEP = TypeAdapter(StepFacts)
_INPUT = TypeAdapter(InputFile)
_EVIDENCE = TypeAdapter(EvidenceFile)
_TEXT = TypeAdapter(str)
_TEXTS = TypeAdapter(tuple[str, ...])
_TIME = TypeAdapter(datetime)
_NO_JOB = JobFacts("", "", "", "", "", "", "", 0, "")
_NO_TIME = datetime(1970, 1, 1, tzinfo=UTC)
_RESTORE = "; restore it from a copy"
LARGEST_FILE = 16_000_000
"""Largest session, bytes; ten times the longest realistic one."""


def read_session(folder: Path) -> SessionRecord:
    """Read a session, a damaged one as far as possible.

    Args:
        folder: the session's folder, which holds `session.toml`.

    Returns:
        The session. `read_only` is set when it must not be written: a later version, or damage and its place.

    Raises:
        Problem: it is missing, unreadable, or damaged beyond use; the sentence names the place.
    """
    path = folder / FILE_NAME
    table, damage, lost = read_table(path)
    schema = table.get("schema")
    if isinstance(schema, bool) or not isinstance(schema, int) or schema < 1:
        raise _damaged(path, damage or "schema is missing or no version number")
    if schema > SCHEMA:
        session, strange = _session(folder, path, table, lenient=True)
        said = f"{path}: written by a later version of this program; it can be read, not continued"
        said += f"; {strange + lost} of its entries are not understood" if strange + lost else ""
        return replace(session, schema=schema, read_only=said)
    table = migrate(table, schema, folder)
    if not damage:
        try:
            return _session(folder, path, table, lenient=False)[0]
        except Problem as problem:
            damage = problem.sentence.removeprefix(f"{path}: damaged: ").removesuffix(_RESTORE)
    session, strange = _session(folder, path, table, lenient=True)
    if not (session.readings or session.events or session.job.machine):
        raise _damaged(path, damage)
    return replace(session, read_only=_far(path, damage, lost + strange))


def read_table(path: Path) -> tuple[dict[str, Any], str, int]:
    """The file as a table, what is damaged in it ("" for nothing), and how many of its tables are lost.

    Raises:
        Problem: it is missing or cannot be read.
    """
    folder = path.parent
    try:
        if path.exists() and not path.is_file():
            raise Problem(f"{path}: cannot be read: it is not a regular file")
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise Problem(f"{folder}: there is no session here; name a folder that holds {FILE_NAME}") from None
    except NotADirectoryError:
        raise Problem(f"{folder}: this is a file; name the session's folder, which holds {FILE_NAME}") from None
    except OSError as error:
        raise Problem(f"{path}: cannot be read: {error.strerror}") from None
    if len(raw) > LARGEST_FILE:
        raise Problem(f"{path}: is larger than {LARGEST_FILE:,} bytes, which no session is{_RESTORE}")
    damage = ""
    try:
        return cleaned(parse(raw.decode("utf-8"))), "", 0
    except UnicodeDecodeError as error:
        damage = f"not text (UTF-8) at byte {error.start}"
    except OutOfBoundsError as error:
        damage = f"{'.'.join(map(str, error.at))} {error}".strip()
    except ValueError as error:
        damage = str(error)
    table, lost = salvage(raw.decode("utf-8", "replace"))
    return cleaned(table), clean(damage), lost


def _session(folder: Path, path: Path, table: dict[str, Any], *, lenient: bool) -> tuple[SessionRecord, int]:
    """The record, and how many of its entries were dropped as damaged, which happens only if `lenient`."""
    strange = 0

    def part(read: Callable[[], T], otherwise: T) -> T:
        nonlocal strange
        try:
            return read()
        except Problem:
            if not lenient:
                raise
            strange += 1
            return otherwise

    def rows(key: str, read: Callable[[Path, str, dict[str, Any]], T]) -> tuple[T, ...]:
        nonlocal strange
        got, passed_over = _rows(path, table, key, read, lenient=lenient)
        strange += passed_over
        return got

    readings, events = rows("readings", _reading), rows("events", _event)
    inputs, evidence = rows("inputs", _input), rows("evidence", _evidence)
    first = min((*(r.time for r in readings[:1]), *(e.time for e in events[:1])), default=_NO_TIME)
    record = SessionRecord(
        folder=folder,
        schema=SCHEMA,
        program=part(lambda: _valid(path, "program", _TEXT, table.get("program")), "a program not known"),
        begun=part(lambda: _zoned(_valid(path, "begun", _TIME, table.get("begun"))), first),
        job=part(lambda: _job(path, _part(path, table, "job"), _part(path, table, "port")), _NO_JOB),
        inputs=inputs,
        readings=readings,
        events=events,
        steps_done=part(lambda: _valid(path, "steps_done", _TEXTS, table.get("steps_done")), ()),
        evidence=evidence,
        steps=rows("steps", _step),
    )
    return record, strange


def _zoned(time: datetime) -> datetime:
    """Treat a time without a zone, which only hand editing or damage can leave, as UTC."""
    return time if time.tzinfo else time.replace(tzinfo=UTC)


def _job(path: Path, job: dict[str, Any], port: dict[str, Any]) -> JobFacts:
    names = ("machine", "tape", "reference_tape", "procedure", "speed", "equalisation", "reference_level")
    facts: dict[str, Any] = {name: job.get(name, "") for name in (*names, "procedure_id", "trainee", "answers")}
    facts |= {"heads": job.get("heads"), "port": port.get("name", ""), "port_kind": port.get("kind", "")}
    facts |= {"sample_rate": port.get("sample_rate", 0), "calibration": port.get("calibration", "")}
    facts["tape_format"] = job.get("tape_format", "")
    facts["seed"] = port.get("seed", 0)
    facts["turned_before"] = port.get("turned_before", [])
    facts["exercise"] = _exercise(path, port.get("exercise"))
    facts["further"] = job.get("further", [])
    return _valid(path, "job", _JOB, facts)


def _exercise(path: Path, stored: object) -> object:
    """The sheet of an exercise, encoded; earlier files have only a list of the faults."""
    if isinstance(stored, list):
        return encode_exercise({"faults": stored})
    try:
        return stored if stored is None else encode_exercise(decode_exercise(str(stored)))
    except ValueError:
        raise _damaged(path, "[port]: the exercise can't be decoded") from None


def _reading(path: Path, where: str, row: dict[str, Any]) -> ReadingRecord:
    quantity = row.get("quantity")
    if not isinstance(quantity, str) or quantity not in QUANTITIES:
        raise _damaged(path, f"{where}: {quantity!r} is no quantity")
    if row.get("unit") != (unit := QUANTITIES[quantity].unit):
        raise _damaged(path, f"{where}: the unit of {quantity} is {unit}, not {row.get('unit')!r}")
    reading: Result
    if "reference_hz" in row:
        row = row | {"reference": {"hz": row["reference_hz"], "db": row.get("reference_db")}}
    elif isinstance(row.get("reference"), str):
        row = row | {"reference": reference_of(row["reference"])}
    if "value" in row:
        measured = {"uncertainty": 0.0, "time_s": row.get("time_in_capture_s")}
        reading = _valid(path, where, _READING, measured | _own(row, Reading))
    else:
        reading = _valid(path, where, _NO_READING, {"reason": "none is recorded"} | _own(row, NoReading))
    verdict = None
    if "verdict" in row:
        verdict = {"word": row["verdict"], "target": row.get("target"), "tolerance": row.get("tolerance")}
        verdict["source"] = row.get("target_source", "")
        verdict["limit"] = row.get("target_limit", "")
    whole = _own(row, ReadingRecord)
    record = _valid(path, where, _RECORD, whole | {"reading": reading, "verdict": verdict})
    return replace(record, time=_zoned(record.time))


def _own(row: dict[str, Any], kind: type[Reading] | type[NoReading] | type[ReadingRecord]) -> dict[str, Any]:
    """The keys of a table that are fields of a class."""
    return {field.name: row[field.name] for field in fields(kind) if field.name in row}


def _event(path: Path, where: str, row: dict[str, Any]) -> Event:
    kind = row.get("kind")
    if not isinstance(kind, str) or kind not in _EVENTS:
        raise _damaged(path, f"{where}: {kind!r} is no kind of event")
    if "time" not in row:
        raise _damaged(path, f"{where}: time is missing")
    event = _valid(path, where, _EVENTS[kind], row)
    return replace(event, time=_zoned(event.time))


def _step(path: Path, where: str, row: dict[str, Any]) -> StepFacts:
    asks = row.get("kind") == "entry" and named_noise_reduction(str(row.get("id")))
    return _valid(path, where, _STEP, {"noise_reduction": asks} | row)


def _input(path: Path, where: str, row: dict[str, Any]) -> InputFile:
    return _valid(path, where, _INPUT, row)


def _evidence(path: Path, where: str, row: dict[str, Any]) -> EvidenceFile:
    return _valid(path, where, _EVIDENCE, row)


def _rows(
    path: Path, table: dict[str, Any], key: str, read: Callable[[Path, str, dict[str, Any]], T], *, lenient: bool
) -> tuple[tuple[T, ...], int]:
    """All rows of an array of tables, and how many were dropped because they are not understood."""
    rows = table.get(key, [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        if lenient:
            return (), 1
        raise _damaged(path, f"[[{key}]] is not a list of tables")
    out: list[T] = []
    for n, row in enumerate(rows, start=1):
        try:
            _no_wild_numbers(path, f"[[{key}]] number {n}", row)
            out.append(read(path, f"[[{key}]] number {n}", row))
        except Problem:
            if not lenient:
                raise
    return tuple(out), len(rows) - len(out)


def _no_wild_numbers(path: Path, where: str, row: dict[str, Any]) -> None:
    """Refuse a number that is not finite, which the program never writes."""
    for key, value in row.items():
        for number in _floats(value):
            if not math.isfinite(number):
                raise _damaged(path, f"{where}: {key} {number} is not a finite number")


def _floats(value: object) -> Iterator[float]:
    """Every number in a value, at any depth."""
    if isinstance(value, float):
        yield value
    for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from _floats(inner)


def _valid(path: Path, where: str, adapter: TypeAdapter[T], value: object) -> T:
    try:
        return adapter.validate_python(value, strict=False)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        missing = first["type"] == "missing" or first["input"] is None
        said = "is missing" if missing else f"{first['input']!r:.60} is not what belongs there"
        raise _damaged(path, f"{where}{': ' + place if place else ''} {said}") from None


def _part(path: Path, table: dict[str, Any], key: str) -> dict[str, Any]:
    found = table.get(key)
    if not isinstance(found, dict):
        raise _damaged(path, f"[{key}] is missing")
    return found


def _damaged(path: Path, what: str) -> Problem:
    return Problem(f"{path}: damaged: {what}{_RESTORE}")


def _far(path: Path, damage: str, lost: int) -> str:
    count = f", {lost} of its entries lost" if lost else ""
    return f"{path}: damaged: {damage}; it is read as far as it goes{count}, and not written{_RESTORE} to go on"
