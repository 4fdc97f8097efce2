"""Copies of the procedure and sheets of a session, arranged so that they can be run again."""

from __future__ import annotations

import errno
import hashlib
from collections.abc import Sequence
from pathlib import Path, PurePosixPath
from typing import Any

from bench.bounded_toml import parse
from bench.problem import Problem
from bench.procedure.model.job import UsedFile
from bench.session.record.atomic import save_file
from bench.session.record.paths import INPUTS
from bench.session.record.record import InputFile

LARGEST_COPY = 1_000_000
"""Largest copy that is read, bytes."""


def copy_inputs(folder: Path, inputs: Sequence[Path | UsedFile]) -> tuple[InputFile, ...]:
    """Copy these files verbatim below a session's folder, with their content at the time of reading where it is known.

    Raises:
        Problem: a file can't be read.
        OSError: a copy can't be written.
    """
    out: list[InputFile] = []
    taken: set[str] = set()
    for item in inputs:
        path = item if isinstance(item, Path) else item.path
        try:
            data = item.read_bytes() if isinstance(item, Path) else item.content
        except OSError as error:
            raise Problem(f"{path}: cannot be read: {error.strerror}") from None
        place = _place(path, taken)
        taken.add(place.as_posix())
        target = folder / INPUTS / place
        target.parent.mkdir(parents=True, exist_ok=True)
        save_file(target, data)
        out.append(InputFile(f"{INPUTS}/{place.as_posix()}", hashlib.sha256(data).hexdigest()))
    return tuple(out)


def read_copy(folder: Path, place: str) -> str:
    """The text of a copy below a session's folder.

    Args:
        folder: the session's folder.
        place: its path as in the record.

    Raises:
        OSError: it is outside the folder, is not a regular file, or is larger than any sheet or procedure.
        ValueError: it is not text.
    """
    parts = PurePosixPath(place)
    path = folder / parts
    if parts.is_absolute() or ".." in parts.parts or not path.is_file():
        raise FileNotFoundError(errno.ENOENT, "is not a file of this session", place)
    with path.open("rb") as file:
        content = file.read(LARGEST_COPY + 1)
    if len(content) > LARGEST_COPY:
        raise OSError(errno.EFBIG, "is larger than any sheet", place)
    return content.decode("utf-8")


def machine_sheet(folder: Path, inputs: Sequence[InputFile]) -> dict[str, Any]:
    """A session's copy of the machine sheet; empty where it is missing or unreadable.

    Args:
        folder: the session's folder.
        inputs: the files in the record.
    """
    place = next((file.path for file in inputs if PurePosixPath(file.path).parent.name == "machines"), None)
    if place is None:
        return {}
    try:
        return parse(read_copy(folder, place))
    except (OSError, ValueError):
        return {}


def _place(path: Path, taken: set[str]) -> PurePosixPath:
    """Path below `inputs/`: the path below the nearest `procedures` folder, so that the copies can be run again."""
    parts = path.resolve().parts
    below = parts[:-1]
    place = PurePosixPath(path.name)
    if "procedures" in below:
        place = PurePosixPath(*parts[len(below) - below[::-1].index("procedures") :])
    elif path.parent.name in {"machines", "tapes", "reference-tapes", "interfaces", "faults"}:
        place = PurePosixPath("sheets", path.parent.name, path.name)
    n = 2
    free = place
    while free.as_posix() in taken:
        free = place.with_name(f"{place.stem}-{n}{place.suffix}")
        n += 1
    return free
