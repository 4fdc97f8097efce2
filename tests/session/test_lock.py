"""One writer to a session."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from bench.problem import Problem
from bench.session.lock import LOCK_NAME, SessionLock, held

HOLDER = """
import sys, time
from pathlib import Path
from bench.session.lock import SessionLock
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
        assert held(tmp_path)
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
    assert not held(tmp_path)
    lock = SessionLock(tmp_path)
    assert f"process {os.getpid()} on " in (tmp_path / LOCK_NAME).read_text()
    lock.release()


def test_a_released_lock_is_free_and_leaves_nothing(tmp_path: Path) -> None:
    lock = SessionLock(tmp_path)
    with pytest.raises(Problem):
        SessionLock(tmp_path)
    lock.release()
    lock.release()
    assert list(tmp_path.iterdir()) == []
    SessionLock(tmp_path).release()


@pytest.mark.skipif(os.name == "nt", reason="an open file cannot be removed there")
def test_a_lock_file_removed_while_waiting_is_not_mistaken_for_the_lock(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between opening and locking, the holder before releases it and a third program takes a new file."""
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
    assert not held(tmp_path / "gone")
