"""Only one program at a time writes a session."""

from __future__ import annotations

import errno
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from bench.problem import Problem
from bench.session.record import lock
from bench.session.record.lock import LOCK_NAME, NAMED_NAME, STALE_S, SessionLock, is_locked

HOLDER = """
import sys, time
from pathlib import Path
from bench.session.record.lock import SessionLock
lock = SessionLock(Path(sys.argv[1]))
print("held", flush=True)
time.sleep(60)
"""


def holder(folder: Path) -> subprocess.Popen[str]:
    process = subprocess.Popen([sys.executable, "-c", HOLDER, str(folder)], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    return process


def test_a_second_program_is_told_who_holds_it(tmp_path: Path) -> None:
    process = holder(tmp_path)
    try:
        assert is_locked(tmp_path)
        with pytest.raises(Problem, match=f"process {process.pid} on ") as raised:
            SessionLock(tmp_path)
        assert str(tmp_path) in raised.value.sentence
    finally:
        process.kill()
        process.wait()


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL")
def test_the_lock_of_a_killed_program_is_taken_over(tmp_path: Path) -> None:
    process = holder(tmp_path)
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert (tmp_path / LOCK_NAME).exists()
    assert not is_locked(tmp_path)
    mine = SessionLock(tmp_path)
    assert f"process {os.getpid()} on " in (tmp_path / LOCK_NAME).read_text()
    mine.release()


def test_a_released_lock_is_free_and_leaves_nothing(tmp_path: Path) -> None:
    mine = SessionLock(tmp_path)
    with pytest.raises(Problem):
        SessionLock(tmp_path)
    mine.release()
    mine.release()
    assert list(tmp_path.iterdir()) == []
    SessionLock(tmp_path).release()


@pytest.mark.skipif(os.name == "nt", reason="an open file cannot be removed there")
def test_a_lock_file_removed_while_waiting_is_not_mistaken_for_the_lock(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between opening and locking, the previous holder releases the lock and a third program takes a new file."""
    real = os.open
    first = SessionLock(tmp_path)
    third: list[SessionLock] = []

    def opened(path: Path, flags: int, mode: int = 0o777) -> int:
        handle = real(path, flags, mode)
        if not third:
            monkeypatch.setattr(os, "open", real)
            first.release()
            third.append(SessionLock(tmp_path))
        return handle

    monkeypatch.setattr(os, "open", opened)
    with pytest.raises(Problem, match="being written by"):
        SessionLock(tmp_path)
    third[0].release()


def test_a_folder_that_is_gone_is_said(tmp_path: Path) -> None:
    with pytest.raises(Problem, match="cannot be opened for writing"):
        SessionLock(tmp_path / "gone")
    assert not is_locked(tmp_path / "gone")


# ---------------------------------------------------------------- drives that know no locks


NAMED_HOLDER = HOLDER.replace(
    "from bench.session.record.lock import SessionLock",
    """
import errno, os
from bench.session.record import lock as room
from bench.session.record.lock import SessionLock
def none(handle):
    raise OSError(errno.ENOLCK, os.strerror(errno.ENOLCK))
room._lock = none
""",
)


@pytest.fixture(name="no_locks")
def _no_locks(monkeypatch: pytest.MonkeyPatch) -> None:
    """The error of a network drive without a lock service."""

    def none(handle: int) -> None:
        raise OSError(errno.ENOLCK, os.strerror(errno.ENOLCK))

    monkeypatch.setattr(lock, "_lock", none)


def named_holder(folder: Path) -> subprocess.Popen[str]:
    process = subprocess.Popen([sys.executable, "-c", NAMED_HOLDER, str(folder)], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    return process


@pytest.mark.usefixtures("no_locks")
def test_without_locks_a_file_names_the_holder(tmp_path: Path) -> None:
    process = named_holder(tmp_path)
    try:
        assert is_locked(tmp_path)
        with pytest.raises(Problem, match=f"being written by process {process.pid} on {socket.gethostname()}"):
            SessionLock(tmp_path)
    finally:
        process.kill()
        process.wait()
    assert not is_locked(tmp_path)
    taken = SessionLock(tmp_path)
    assert is_locked(tmp_path)
    assert taken.hold() is False
    taken.release()
    assert not is_locked(tmp_path)
    assert [f.name for f in tmp_path.iterdir()] == [LOCK_NAME]


@pytest.mark.usefixtures("no_locks")
def test_a_holder_on_another_computer_is_dead_when_it_is_silent(tmp_path: Path) -> None:
    file = tmp_path / NAMED_NAME
    file.write_text("process 1 on another-bench")
    assert is_locked(tmp_path)
    with pytest.raises(Problem, match="process 1 on another-bench"):
        SessionLock(tmp_path)
    then = time.time() - STALE_S - 1
    os.utime(file, (then, then))
    assert not is_locked(tmp_path)
    SessionLock(tmp_path).release()
    assert not file.exists()


@pytest.mark.usefixtures("no_locks")
def test_the_holder_touches_its_file_while_it_lives(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lock, "TOUCH_S", 0.01)
    mine = SessionLock(tmp_path)
    os.utime(tmp_path / NAMED_NAME, (0, 0))
    until = time.monotonic() + 20
    while (tmp_path / NAMED_NAME).stat().st_mtime == 0:
        assert time.monotonic() < until
        time.sleep(0.01)
    mine.release()


@pytest.mark.usefixtures("no_locks")
def test_of_many_that_take_over_a_dead_ones_lock_one_gets_it(tmp_path: Path) -> None:
    """Each tries in a process of its own, at once."""
    (tmp_path / NAMED_NAME).write_text(f"process 999999999 on {socket.gethostname()}")
    tries = [
        subprocess.Popen(
            [sys.executable, "-c", NAMED_HOLDER, str(tmp_path)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(4)
    ]
    won = []
    for process in tries:
        assert process.stdout is not None
        won.append(process.stdout.readline() == "held\n")
    for process in tries:
        process.kill()
        process.communicate()
    assert won.count(True) == 1


@pytest.mark.skipif(os.name == "nt", reason="no links to be sure of there")
@pytest.mark.usefixtures("no_locks")
def test_a_lock_that_another_took_over_first_is_given_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After the holder was found dead and before its file is moved aside, another program has taken over."""
    file = tmp_path / NAMED_NAME
    file.write_text(f"process 999999999 on {socket.gethostname()}")
    real = lock._dead
    theirs = f"process {os.getppid()} on {socket.gethostname()}"

    def dead(path: Path) -> bool:
        found = real(path)
        file.write_text(theirs)
        return found

    monkeypatch.setattr(lock, "_dead", dead)
    with pytest.raises(Problem, match=f"being written by {theirs}"):
        SessionLock(tmp_path)
    assert file.read_text() == theirs


@pytest.mark.skipif(os.name == "nt", reason="an open file cannot be removed there")
def test_a_lock_that_vanished_is_taken_again_and_that_is_told(tmp_path: Path) -> None:
    mine = SessionLock(tmp_path)
    assert mine.hold() is False
    (tmp_path / LOCK_NAME).unlink()
    assert mine.hold() is True
    assert mine.hold() is False
    with pytest.raises(Problem, match="being written by"):
        SessionLock(tmp_path)
    mine.release()
    SessionLock(tmp_path).release()
