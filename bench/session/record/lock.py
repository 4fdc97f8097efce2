"""One writer for each session: a lock that is released when its holder dies.

Where the drive supports them, it is a lock of the operating system, which ends with the process or, on a network
drive, with the connection. On other drives it is a file that names its holder. That file is taken over when the process
is dead or, if the holder is on another computer, when the file has not been touched for a minute.
"""

from __future__ import annotations

import errno
import os
import socket
import sys
import threading
from contextlib import suppress
from pathlib import Path

from bench.problem import Problem

LOCK_NAME = ".lock"
NAMED_NAME = ".lock-holder"
"""On drives without locks, the existence of this file is the lock."""
TOUCH_S = 10.0
STALE_S = 60.0
"""A holder on another computer counts as dead when it has not touched its file for this long."""
NO_LOCKS = frozenset({errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.ENOTSUP, errno.EINVAL})


class SessionLock:
    """Held from construction until `release` or the death of the process.

    Args:
        folder: the session's folder.

    Raises:
        Problem: another program holds it, and which one.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._path = folder / LOCK_NAME
        self._handle = -1
        self._named: _Named | None = None
        self._take()

    def hold(self) -> bool:
        """Make sure that this program still holds it: a folder that was disconnected may have come back without it.

        Returns:
            Whether it had to be taken again, so that another program may have held it in the meantime.

        Raises:
            Problem: another program holds it.
        """
        if self._named is not None:
            return self._named.hold()
        if not _same(self._handle, self._path) and self._folder.is_dir():
            old, self._handle = self._handle, -1
            try:
                self._take()
            except Problem:
                self._handle = old
                raise
            os.close(old)
            return True
        return False

    def release(self) -> None:
        """Release the lock; safe to call twice."""
        if self._named is not None:
            self._named.release()
            self._named = None
        if self._handle < 0:
            return
        if sys.platform != "win32" and _same(self._handle, self._path):  # Windows cannot remove an open file
            with suppress(OSError):
                self._path.unlink()
        os.close(self._handle)
        self._handle = -1
        if sys.platform == "win32":
            with suppress(OSError):
                self._path.unlink()

    def _take(self) -> None:
        while self._handle < 0:
            try:
                self._handle = self._acquire()
            except _NoLocksError:
                self._named = _Named(self._folder)
                return
        with suppress(OSError):  # on a full disk the lock still holds, without the name of its holder
            os.ftruncate(self._handle, 0)
            os.write(self._handle, f"{_us()}\n".encode())

    def _acquire(self) -> int:
        try:
            handle = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o666)
        except OSError as error:
            raise Problem(f"{self._folder}: the session cannot be opened for writing: {error.strerror}") from None
        try:
            _lock(handle)
        except OSError as error:
            holder = _read(handle)
            os.close(handle)
            if error.errno in NO_LOCKS:
                raise _NoLocksError from None
            raise _taken(self._folder, holder) from None
        # The previous holder may have removed the file between our opening and locking it.
        if _same(handle, self._path):
            return handle
        os.close(handle)
        return -1


class _NoLocksError(Exception):
    """The drive supports no locks."""


class _Named:
    """A lock by the existence of a file, for drives that support no other."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._path = folder / NAMED_NAME
        self._over = threading.Event()
        self._take()
        self._thread = threading.Thread(target=self._touch, name="lock", daemon=True)
        self._thread.start()

    def _take(self) -> None:
        for _ in range(2):
            try:
                handle = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
            except FileExistsError:
                holder = _name(self._path)
                if not _dead(self._path):
                    raise _taken(self._folder, holder) from None
                self._put_aside(holder)
            except OSError as error:
                raise Problem(f"{self._folder}: the session cannot be opened for writing: {error.strerror}") from None
            else:
                with suppress(OSError):
                    os.write(handle, _us().encode())
                os.close(handle)
                return
        raise _taken(self._folder, _name(self._path))

    def _put_aside(self, dead: str) -> None:
        """Rename it to a name of our own, so that only one of two takers succeeds."""
        aside = self._path.with_name(f"{NAMED_NAME}-{socket.gethostname()}-{os.getpid()}")
        with suppress(OSError):
            self._path.rename(aside)
            if _name(aside) != dead:  # another program was quicker, and this is its lock
                with suppress(OSError):
                    os.link(aside, self._path)
            aside.unlink()

    def hold(self) -> bool:
        """Make sure that this program still holds it. Returns whether it had to be taken again."""
        if _name(self._path) == _us() or not self._folder.is_dir():
            return False
        self._take()
        return True

    def release(self) -> None:
        """Release the lock."""
        self._over.set()
        self._thread.join()
        if _name(self._path) == _us():
            with suppress(OSError):
                self._path.unlink()

    def _touch(self) -> None:
        while not self._over.wait(TOUCH_S):
            with suppress(OSError):
                if _name(self._path) == _us():
                    os.utime(self._path)


def is_locked(folder: Path) -> bool:
    """Whether a running program is writing this session."""
    named = folder / NAMED_NAME
    if named.exists():
        return not _dead(named)
    try:
        handle = os.open(folder / LOCK_NAME, os.O_RDWR)
    except OSError:
        return False
    try:
        _lock(handle)
    except OSError as error:
        return error.errno not in NO_LOCKS
    finally:
        os.close(handle)
    return False


def _us() -> str:
    return f"process {os.getpid()} on {socket.gethostname()}"


def _read(handle: int) -> str:
    with suppress(OSError):
        return os.read(handle, 200).decode("utf-8", "replace").strip()
    return ""


def _name(path: Path) -> str:
    """The holder named in the file."""
    with suppress(OSError):
        return path.read_bytes()[:200].decode("utf-8", "replace").strip()
    return ""


def _taken(folder: Path, holder: str) -> Problem:
    who = holder or "another program"
    return Problem(f"{folder}: this session is being written by {who}; close it there, or begin a new session")


def _same(handle: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), path.stat())
    except OSError:
        return False


def _dead(path: Path) -> bool:
    """Whether the holder named in a file is dead: by its process on this computer, by the file's age on another."""
    words = _name(path).split()
    here = len(words) == 4 and words[3] == socket.gethostname() and words[1].isdigit()
    if here:
        return not _lives(int(words[1]))
    try:
        # Compare times by the drive's own clock, because the clocks of two computers may differ.
        probe = path.with_name(f"{NAMED_NAME}-clock-{socket.gethostname()}-{os.getpid()}")
        probe.write_bytes(b"")
        now = probe.stat().st_mtime
        probe.unlink()
        return now - path.stat().st_mtime > STALE_S
    except OSError:
        return False


if sys.platform == "win32":
    import ctypes
    import msvcrt

    def _lock(handle: int) -> None:
        # Lock a byte far beyond the text, so that others can still read the text.
        os.lseek(handle, 1 << 30, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        finally:
            os.lseek(handle, 0, os.SEEK_SET)

    def _lives(process: int) -> bool:
        limited_information, still_active = 0x1000, 259
        handle = ctypes.windll.kernel32.OpenProcess(limited_information, False, process)
        if not handle:
            return False
        code = ctypes.c_ulong()
        ctypes.windll.kernel32.GetExitCodeProcess(handle, ctypes.byref(code))
        ctypes.windll.kernel32.CloseHandle(handle)
        return code.value == still_active
else:
    import fcntl

    def _lock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def _lives(process: int) -> bool:
        try:
            os.kill(process, 0)
        except ProcessLookupError:
            return False
        except OSError:
            return True
        return True
