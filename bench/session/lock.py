"""One writer to a session: a lock that the operating system lets go of when its holder dies."""

from __future__ import annotations

import os
import socket
import sys
from contextlib import suppress
from pathlib import Path

from bench.problem import Problem

LOCK_NAME = ".lock"


class SessionLock:
    """Held from construction until `release` or the death of the process.

    Args:
        folder: the session's folder.

    Raises:
        Problem: another program holds it, and which one; or the drive knows no locks.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / LOCK_NAME
        self._handle = -1
        while self._handle < 0:
            self._handle = self._acquire(folder)
        with suppress(OSError):  # a full disk: the lock holds all the same, its holder has no name
            os.ftruncate(self._handle, 0)
            os.write(self._handle, f"process {os.getpid()} on {socket.gethostname()}\n".encode())

    def _acquire(self, folder: Path) -> int:
        try:
            handle = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o666)
        except OSError as error:
            raise Problem(f"{folder}: the session cannot be opened for writing: {error.strerror}") from None
        try:
            _lock(handle)
        except (BlockingIOError, PermissionError):
            holder = os.read(handle, 200).decode("utf-8", "replace").strip() or "another program"
            os.close(handle)
            raise Problem(
                f"{folder}: this session is being written by {holder}; close it there, or begin a new session"
            ) from None
        except OSError as error:
            os.close(handle)
            raise Problem(
                f"{folder}: no lock can be taken there ({error.strerror}); put the workspace on a disk of this computer"
            ) from None
        # Whoever held it before may have removed the file between our opening and locking it.
        try:
            same = os.path.samestat(os.fstat(handle), self._path.stat())
        except FileNotFoundError:
            same = False
        if same:
            return handle
        os.close(handle)
        return -1

    def release(self) -> None:
        """Let go; safe to call twice."""
        if self._handle < 0:
            return
        if sys.platform != "win32":  # where an open file cannot be removed
            with suppress(OSError):
                self._path.unlink()
        os.close(self._handle)
        self._handle = -1
        if sys.platform == "win32":
            with suppress(OSError):
                self._path.unlink()


def held(folder: Path) -> bool:
    """Whether a living program is writing this session now."""
    try:
        handle = os.open(folder / LOCK_NAME, os.O_RDWR)
    except OSError:
        return False
    try:
        _lock(handle)
    except OSError:
        return True
    finally:
        os.close(handle)
    return False


if sys.platform == "win32":
    import msvcrt

    def _lock(handle: int) -> None:
        # A byte far behind the text, which others must still be able to read.
        os.lseek(handle, 1 << 30, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        finally:
            os.lseek(handle, 0, os.SEEK_SET)
else:
    import fcntl

    def _lock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
