"""Reading a session back: what is damaged is said in one sentence, what is newer than us is read-only."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from bench.measure.names import UNITS, Reading
from bench.problem import Problem
from bench.procedure.journal import Event, ReadingRecord
from bench.session.record import FILE_NAME, SCHEMA, InputFile, JobFacts, SessionRecord

T = TypeVar("T")

_JOB = TypeAdapter(JobFacts)
_READING = TypeAdapter(ReadingRecord)
_EVENT = TypeAdapter(Event)
_INPUT = TypeAdapter(InputFile)
_TEXT = TypeAdapter(str)
_TEXTS = TypeAdapter(tuple[str, ...])
_TIME = TypeAdapter(datetime)


def read_session(folder: Path) -> SessionRecord:
    """Read a session.

    Args:
        folder: the session's folder, which holds `session.toml`.

    Raises:
        Problem: it is missing, unreadable or damaged; one sentence that names the place.
    """
    path = folder / FILE_NAME
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise Problem(f"{folder}: there is no session here; name a folder that holds {FILE_NAME}") from None
    except NotADirectoryError:
        raise Problem(f"{folder}: this is a file; name the session's folder, which holds {FILE_NAME}") from None
    except OSError as error:
        raise Problem(f"{path}: cannot be read: {error.strerror}") from None
    try:
        table = tomllib.loads(raw.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise _damaged(path, f"not text (UTF-8) at byte {error.start}") from None
    except tomllib.TOMLDecodeError as error:
        raise _damaged(path, str(error)) from None
    except (RecursionError, ValueError):
        raise _damaged(path, "not a session") from None
    return _session(folder, path, table)


def _session(folder: Path, path: Path, table: dict[str, Any]) -> SessionRecord:
    schema = table.get("schema")
    if isinstance(schema, bool) or not isinstance(schema, int) or schema < 1:
        raise _damaged(path, "schema is missing or no version number")
    later = schema > SCHEMA
    readings, strange_readings = _rows(path, table, "readings", _reading, lenient=later)
    events, strange_events = _rows(path, table, "events", _event, lenient=later)
    inputs, _ = _rows(path, table, "inputs", _input, lenient=later)
    read_only = ""
    if later:
        read_only = f"{path}: written by a later version of this program; it can be read, not continued"
        strange = strange_readings + strange_events
        read_only += f"; {strange} of its entries are not understood" if strange else ""
    return SessionRecord(
        folder=folder,
        schema=schema,
        program=_valid(path, "program", _TEXT, table.get("program")),
        begun=_valid(path, "begun", _TIME, table.get("begun")),
        job=_job(path, _part(path, table, "job"), _part(path, table, "port")),
        inputs=inputs,
        readings=readings,
        events=events,
        steps_done=_valid(path, "steps_done", _TEXTS, table.get("steps_done")),
        read_only=read_only,
    )


def _job(path: Path, job: dict[str, Any], port: dict[str, Any]) -> JobFacts:
    names = ("machine", "tape", "reference_tape", "procedure", "speed", "equalisation", "reference_level")
    facts: dict[str, Any] = {name: job.get(name, "") for name in (*names, "procedure_id")}
    facts |= {"heads": job.get("heads"), "port": port.get("name", ""), "port_kind": port.get("kind", "")}
    facts |= {"sample_rate": port.get("sample_rate", 0), "calibration": port.get("calibration", "")}
    facts["seed"] = port.get("seed", 0)
    facts["exercise"] = port.get("exercise", [])
    return _valid(path, "job", _JOB, facts)


def _reading(path: Path, where: str, row: dict[str, Any]) -> ReadingRecord:
    quantity = row.get("quantity")
    if not isinstance(quantity, str) or quantity not in UNITS:
        raise _damaged(path, f"{where}: {quantity!r} is no quantity")
    if row.get("unit") != UNITS[quantity]:
        raise _damaged(path, f"{where}: the unit of {quantity} is {UNITS[quantity]}, not {row.get('unit')!r}")
    reading = {k: row[k] for k in Reading.__dataclass_fields__ if k in row} | {"value": row.get("value")}
    if "time_in_capture_s" in row:
        reading["time_s"] = row["time_in_capture_s"]
    verdict = None
    if "verdict" in row:
        verdict = {"word": row["verdict"], "target": row.get("target"), "tolerance": row.get("tolerance")}
        verdict["source"] = row.get("target_source", "")
    whole = {k: row[k] for k in ReadingRecord.__dataclass_fields__ if k in row}
    return _valid(path, where, _READING, whole | {"reading": reading, "verdict": verdict})


def _event(path: Path, where: str, row: dict[str, Any]) -> Event:
    return _valid(path, where, _EVENT, row)


def _input(path: Path, where: str, row: dict[str, Any]) -> InputFile:
    return _valid(path, where, _INPUT, row)


def _rows(
    path: Path, table: dict[str, Any], key: str, read: Callable[[Path, str, dict[str, Any]], T], *, lenient: bool
) -> tuple[tuple[T, ...], int]:
    """All rows of an array of tables, and how many a later version's file holds that we don't understand."""
    rows = table.get(key, [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise _damaged(path, f"[[{key}]] is not a list of tables")
    out: list[T] = []
    for n, row in enumerate(rows, start=1):
        try:
            out.append(read(path, f"[[{key}]] number {n}", row))
        except Problem:
            if not lenient:
                raise
    return tuple(out), len(rows) - len(out)


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
    return Problem(f"{path}: damaged: {what}; restore it from a copy")
