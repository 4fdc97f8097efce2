"""Atomic replacement of a file: after a kill or a full disk, either the old file or the new one is there, whole."""

from __future__ import annotations

import errno
import os
import secrets
import sys
import time
from contextlib import suppress
from pathlib import Path

PART = ".part"
"""Suffix of a temporary file, which stays behind when the program is killed while writing."""


def save_file(path: Path, data: bytes) -> None:
    """Write a file so that it is on disk, whole, when this returns.

    A temporary file in the same folder (so that the move stays on one disk) is written, flushed to the disk and
    moved over the old one; then the folder's own entry is flushed.

    Args:
        path: the file; its folder exists.
        data: all of its content.

    Raises:
        OSError: it could not be written. The old file is unchanged or, when only the last step failed, the new one is
            in place but may not survive a loss of power. No temporary file is left.
    """
    temp = path.with_name(f".{path.name}.{secrets.token_hex(4)}{PART}")
    # Not tempfile, so that the file gets the mode that the person's umask asks for.
    handle = os.open(temp, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    try:
        try:
            _write_all(handle, data)
            os.fsync(handle)
        finally:
            os.close(handle)
        _replace(temp, path)
    except BaseException:
        with suppress(OSError):
            temp.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Flush a folder's entries to the disk; does nothing on Windows, which cannot.

    Raises:
        OSError: the flush failed.
    """
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        # Some network drives do not support this for folders.
        if error.errno != errno.EINVAL:
            raise
    finally:
        os.close(handle)


def sweep_parts(folder: Path) -> None:
    """Remove temporary files that a killed program left. Only the holder of the session's lock may call it."""
    for part in folder.glob(f".*{PART}"):
        with suppress(OSError):
            part.unlink()


def _write_all(handle: int, data: bytes) -> None:
    left = memoryview(data)
    while left:
        left = left[os.write(handle, left) :]


def _replace(temp: Path, path: Path) -> None:
    tries = 20 if sys.platform == "win32" else 1
    for n in range(tries):
        try:
            temp.replace(path)
        except PermissionError:
            # On Windows a file cannot be replaced while another program reads it (a virus scanner, a viewer).
            if n == tries - 1:
                raise
            time.sleep(0.05)
        else:
            return
