"""A list of all sessions without reading them whole: a cached index, which may be deleted at any time.

A row is valid only while the session's file has the size and modification time that it had when it was read. Neither
numpy nor pydantic is imported, and only the head of each file is read.
"""

from __future__ import annotations

import json
import os
import re
import time
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any

from bench.bounded_toml import cleaned, parse
from bench.problem import Problem
from bench.procedure.state.conclusion import conclusion_from
from bench.session.record.atomic import save_file
from bench.session.record.paths import FILE_NAME

INDEX_NAME = ".index.json"
VERSION = 2
SETTLED_NS = 2_000_000_000
"""A file that changed less than this before it was read may change again with the same modification time, because some
disks count in steps of two seconds. It is read again the next time."""

LARGEST_HEAD = 1_000_000
"""Bytes; anything beyond this is not read."""

_ACTS = re.compile(rb"\\u00[01]|\xc2[\x80-\x9f]|\xe2\x80[\x8e\x8f\xa8-\xae]")
"""An escape or a character that acts on a terminal. The program writes none into an index."""

Row = list[Any]
"""Modification time and size, then the fields of `Entry`."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A session as a list shows it."""

    sessions: Path
    """The folder of all sessions."""
    name: str
    """Name of its own folder."""
    machine: str
    """Its name, with the number of a practice machine, because each number is another machine."""
    machine_id: str
    """File name of its sheet without `.toml`."""
    procedure: str
    begun: datetime
    done: bool
    outcome: str
    """The verdict on it, in words."""
    reference_tape: str
    reference_plays: int
    """Number of passes of the reference tape."""
    exercise: bool
    """Whether faults were hidden in a practice machine, so that it does not belong in a machine's history."""
    problem: str = ""
    """Set when its head could not be read."""

    @property
    def folder(self) -> Path:
        """Its own folder."""
        return self.sessions / self.name


def entries(sessions_folder: Path, *, keep: bool = True) -> list[Entry]:
    """All sessions, newest first; those that began in the same minute by the number of their folder.

    Args:
        sessions_folder: folder of all sessions.
        keep: whether to write the index for the next time.
    """
    known = _load(sessions_folder)
    fresh: dict[str, Row] = {}
    changed = False
    now = time.time_ns()
    for name, changed_ns, size in _files(sessions_folder):
        row = known.get(name)
        if row is None or row[0] != changed_ns or row[1] != size:
            settled = now - changed_ns > SETTLED_NS
            row = [changed_ns if settled else 0, size, *_head(sessions_folder / name)]
            changed = True
        fresh[name] = row
    if keep and (changed or len(fresh) != len(known)):
        _store(sessions_folder, fresh)
    found = [_entry(sessions_folder, name, row) for name, row in fresh.items()]
    found.sort(key=lambda e: (e.begun, len(e.name), e.name), reverse=True)
    return found


def entries_beside(folder: Path) -> list[Entry]:
    """All sessions in the folder that contains this session; empty where that is not a sessions folder."""
    parent = folder.resolve().parent
    return entries(parent, keep=False) if parent.name == "sessions" else []


def of_machine(found: Iterable[Entry], machine: str) -> list[Entry]:
    """The sessions of one machine, exercises left out.

    Args:
        found: the sessions to search.
        machine: its name, that of its sheet, or a part of either that fits only one machine.

    Returns:
        Its sessions in the order given; empty where no machine fits, or more than one.
    """
    usable = [e for e in found if not e.exercise and not e.problem]
    asked = machine.casefold()
    known = [(e.machine, e.machine.casefold(), e.machine_id.casefold()) for e in usable]
    by_name = {machine for machine, name, _ in known if name == asked}
    by_sheet = {machine for machine, _, sheet in known if sheet == asked}
    by_part = {machine for machine, name, sheet in known if asked in name or asked in sheet}
    fits = next((names for names in (by_name, by_sheet, by_part) if len(names) == 1), set())
    return [e for e in usable if e.machine in fits]


def _files(sessions_folder: Path) -> Iterable[tuple[str, int, int]]:
    """Name of each session's folder, modification time and size of its file."""
    with suppress(OSError), os.scandir(sessions_folder) as folders:
        for folder in folders:
            with suppress(OSError):
                file = os.stat(os.path.join(folder.path, FILE_NAME))  # noqa: PTH116, PTH118 (ten thousand times)
                yield folder.name, file.st_mtime_ns, file.st_size


def _load(sessions_folder: Path) -> dict[str, Row]:
    try:
        raw = (sessions_folder / INDEX_NAME).read_bytes()
        table = {} if _ACTS.search(raw) else json.loads(raw)
    except (OSError, ValueError, RecursionError):
        return {}
    if not isinstance(table, dict) or table.get("version") != VERSION or not isinstance(table.get("sessions"), dict):
        return {}
    return {name: row for name, row in table["sessions"].items() if _whole(row)}


def _whole(row: object) -> bool:
    kinds = (int, int, str, str, str, str, bool, str, str, int, bool, str)
    return isinstance(row, list) and [*map(type, row)] == [*kinds]


def _store(sessions_folder: Path, rows: dict[str, Row]) -> None:
    text = json.dumps({"version": VERSION, "sessions": rows}, ensure_ascii=False, separators=(",", ":"))
    with suppress(OSError):  # the index is optional
        save_file(sessions_folder / INDEX_NAME, text.encode("utf-8", "replace"))


def _entry(sessions_folder: Path, name: str, row: Row) -> Entry:
    _, _, machine, machine_id, procedure, begun, *rest = row
    try:
        when = datetime.fromisoformat(begun)
    except ValueError:
        when = datetime.min.replace(tzinfo=UTC)
    return Entry(sessions_folder, name, machine, machine_id, procedure, when, *rest)


def _head(folder: Path) -> Row:
    """The row of a session, from the beginning of its file."""
    try:
        if not (folder / FILE_NAME).is_file():
            return _nothing(folder, "cannot be read: it is not a regular file")
        with (folder / FILE_NAME).open("rb") as file:
            raw = file.read(LARGEST_HEAD)
        head = raw
        for entries in (b"steps", b"readings", b"events"):
            head = head.partition(b"\n[[" + entries + b"]]")[0]
        table = cleaned(parse(head.decode()))
        if not isinstance(table.get("verdict"), dict):
            return _summary(table | _judged_now(folder))
        return _summary(table)
    except OSError as error:
        return _nothing(folder, f"cannot be read: {error.strerror}")
    except (ValueError, Problem):
        return _nothing(folder, "damaged")


def _summary(table: dict[str, Any]) -> Row:
    job, port = table.get("job"), table.get("port")
    begun = table.get("begun")
    if not isinstance(job, dict) or not isinstance(port, dict) or not isinstance(begun, datetime):
        raise ValueError
    machine = str(job.get("machine", ""))
    if port.get("kind") == "practice":
        machine += f", practice machine {port.get('seed', 0)}"
    plays = table.get("reference_plays", 0)
    when = begun if begun.tzinfo else begun.replace(tzinfo=UTC)
    return [
        machine,
        _sheet(table.get("inputs")),
        str(job.get("procedure", "")),
        when.isoformat(),
        table.get("done") is True,
        conclusion_from(table["verdict"]).said,
        str(job.get("reference_tape", "")),
        plays if type(plays) is int else 0,
        port.get("exercise") is not None,
        "",
    ]


def _judged_now(folder: Path) -> dict[str, Any]:
    """Facts that the head lacks in a session of an earlier version, which is read whole for them."""
    from bench.session.record.reader import read_session
    from bench.session.record.record import reference_plays

    session = read_session(folder)
    found = session.conclusion
    return {"verdict": asdict(found), "done": found.done, "reference_plays": reference_plays(session.readings)}


def _sheet(inputs: object) -> str:
    """Name of the machine sheet, from the path of its copy."""
    for file in inputs if isinstance(inputs, list) else []:
        path = PurePosixPath(str(file.get("path", ""))) if isinstance(file, dict) else PurePosixPath()
        if path.parent.name == "machines":
            return path.stem
    return ""


def _nothing(folder: Path, problem: str) -> Row:
    """A row for a session that cannot be read: its name still shows when it began."""
    try:
        begun = datetime.strptime(folder.name[:15], "%Y-%m-%d-%H%M").replace(tzinfo=UTC)
    except ValueError:
        begun = datetime.min.replace(tzinfo=UTC)
    return [folder.name, "", "", begun.isoformat(), False, "", "", 0, False, f"{folder / FILE_NAME}: {problem}"]
