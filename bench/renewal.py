"""Updates a person's copy of the shipped procedures, file by file, where that person has not changed it.

A corrected safety text reaches everyone; files that a person wrote or deleted stay so. A list next to the copies
records what was copied, in the format of `sha256sum`.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from contextlib import suppress
from pathlib import Path

LIST = ".shipped"
"""Name of the list, in the folder of the copies."""

Digests = dict[str, str]
"""SHA-256 of each file, by its path in the folder with forward slashes."""


def list_copies(folder: Path) -> None:
    """List the copies in a folder that nobody has changed yet.

    Raises:
        OSError: the list can't be written.
    """
    _write(folder / LIST, _text(_digests(folder)).encode())


def renew(mine: Path, shipped: Path) -> None:
    """Replace each unchanged copy, and add files that were not shipped before. Does nothing in a folder without a list.

    Args:
        mine: folder of the copies; left unchanged if it can't be written.
        shipped: folder of the shipped files.
    """
    with suppress(OSError):
        listed = (mine / LIST).read_text(encoding="utf-8", errors="replace")
        today = _digests(shipped)
        if listed != _text(today):
            _renew(mine, shipped, _listed(listed), today)


def _renew(mine: Path, shipped: Path, copied: Digests, today: Digests) -> None:
    kept = dict(copied)
    for name, digest in today.items():
        path = mine / name
        known = path.is_file() and not path.is_symlink()
        as_copied = known and _digest(path.read_bytes()) == copied.get(name) != digest
        if as_copied or (name not in copied and not path.exists()):
            path.parent.mkdir(parents=True, exist_ok=True)
            _write(path, (shipped / name).read_bytes())
            kept[name] = digest
        else:
            kept.setdefault(name, digest)
    if kept != copied:
        _write(mine / LIST, _text(kept).encode())


def _digests(folder: Path) -> Digests:
    files = (path for path in sorted(folder.rglob("*")) if path.is_file() and not path.name.startswith("."))
    return {path.relative_to(folder).as_posix(): _digest(path.read_bytes()) for path in files}


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _text(digests: Digests) -> str:
    return "".join(f"{digest}  {name}\n" for name, digest in sorted(digests.items()))


def _listed(text: str) -> Digests:
    rows = (line.split("  ", 1) for line in text.splitlines())
    return {row[1]: row[0] for row in rows if len(row) == 2}


def _write(path: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    handle, name = tempfile.mkstemp(prefix=".new-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(content)
        Path(name).replace(path)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise
