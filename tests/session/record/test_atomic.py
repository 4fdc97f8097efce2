"""A file is complete at any moment, whichever call fails."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bench.session.record import atomic
from bench.session.record.atomic import save_file, sweep_parts

OLD, NEW = b"the old text\n" * 400, b"the new text\n" * 500


def failing(monkeypatch: pytest.MonkeyPatch, owner: Any, name: str, code: int, *, after: bool, nth: int = 1) -> None:
    """Let the nth call of a function fail with an errno, before or after it did its work."""
    real: Callable[..., Any] = getattr(owner, name)
    calls = 0

    def fails(*args: Any, **kwargs: Any) -> Any:
        nonlocal calls
        calls += 1
        if calls != nth:
            return real(*args, **kwargs)
        if after:
            real(*args, **kwargs)
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(owner, name, fails)


@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
@pytest.mark.parametrize(
    ("owner", "name", "nth", "code"),
    [
        (os, "open", 1, errno.EROFS),
        (os, "write", 1, errno.ENOSPC),
        (os, "fsync", 1, errno.EIO),
        (os, "close", 1, errno.EDQUOT),
        (Path, "replace", 1, errno.EACCES),
        (os, "open", 2, errno.EACCES),
        (os, "fsync", 2, errno.EIO),
    ],
    ids=["open", "write", "fsync", "close", "replace", "open folder", "fsync folder"],
)
def test_a_failure_at_any_step_leaves_one_whole_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, owner: Any, name: str, nth: int, code: int, after: bool
) -> None:
    path = tmp_path / "session.toml"
    path.write_bytes(OLD)
    with monkeypatch.context() as patched:
        failing(patched, owner, name, code, after=after, nth=nth)
        with pytest.raises(OSError, match=os.strerror(code)):
            save_file(path, NEW)
    moved = nth == 2 or (name == "replace" and after)
    assert path.read_bytes() == (NEW if moved else OLD)
    left = sorted(p.name for p in tmp_path.iterdir())
    # A file that was made by an open that reported failure has no handle for cleaning up.
    assert left == ["session.toml"] or (name == "open" and after and nth == 1)


def test_an_interrupt_leaves_the_old_file_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "session.toml"
    path.write_bytes(OLD)

    def interrupted(_: int) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", interrupted)
        with pytest.raises(KeyboardInterrupt):
            save_file(path, NEW)
    assert path.read_bytes() == OLD
    assert list(tmp_path.iterdir()) == [path]


def test_a_write_in_small_pieces_is_gone_on_with(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.write
    with monkeypatch.context() as patched:
        patched.setattr(os, "write", lambda handle, data: real(handle, bytes(data)[:7]))
        save_file(tmp_path / "session.toml", NEW)
    assert (tmp_path / "session.toml").read_bytes() == NEW


def test_the_data_is_on_disk_before_the_file_moves_and_the_folder_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    real_sync, real_replace = os.fsync, Path.replace

    def sync(handle: int) -> None:
        done.append("folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file")
        real_sync(handle)

    def move(self: Path, target: Path) -> Path:
        done.append("moved")
        return real_replace(self, target)

    monkeypatch.setattr(os, "fsync", sync)
    monkeypatch.setattr(Path, "replace", move)
    save_file(tmp_path / "session.toml", NEW)
    assert done == ["file", "moved", "folder"]


@pytest.mark.skipif(os.name == "nt", reason="Windows has no umask to speak of")
def test_the_mode_is_what_the_umask_asks_for(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        save_file(tmp_path / "session.toml", NEW)
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "session.toml").stat().st_mode) == 0o640


def test_a_folder_that_knows_no_flush_is_let_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patched:
        failing(patched, os, "fsync", errno.EINVAL, after=False, nth=2)
        save_file(tmp_path / "session.toml", NEW)
    assert (tmp_path / "session.toml").read_bytes() == NEW


def test_what_a_killed_program_left_is_swept(tmp_path: Path) -> None:
    (tmp_path / f".session.toml.0a1b2c3d{atomic.PART}").write_bytes(b"half")
    (tmp_path / "session.toml").write_bytes(OLD)
    (tmp_path / "my.part").write_bytes(b"not ours")
    sweep_parts(tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["my.part", "session.toml"]
