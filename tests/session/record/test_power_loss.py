"""Power may fail at any moment, on a file system that keeps only what was flushed, in any order.

Every system call is recorded. For each moment, all possible states of the disk are made: data of a
file as it was last flushed, or cut off; of names in a folder that were not flushed, any. (POSIX.1-2017, fsync
and rename: nothing is said of order.)
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from bench.clock import RehearsalClock
from bench.procedure.state.events import Done, Noted
from bench.procedure.state.journal import ReadingRecord
from bench.session.record.store import SessionStore
from tests.session.made_up import JOB, START, level


@dataclass
class Disk:
    """The calls to the disk, in order; paths and file numbers as the program used them."""

    calls: list[tuple[Any, ...]] = field(default_factory=list)
    files: dict[int, int] = field(default_factory=dict)
    """Number of the file behind each open handle."""

    def record(self, monkeypatch: pytest.MonkeyPatch) -> None:
        real_open, real_write, real_fsync, real_replace = os.open, os.write, os.fsync, Path.replace
        numbers = itertools.count(1)
        folders: dict[int, str] = {}

        def opened(path: Any, flags: int, *more: Any) -> int:
            handle = real_open(path, flags, *more)
            if Path(path).is_dir():
                folders[handle] = str(path)
            elif flags & os.O_CREAT:
                folders.pop(handle, None)
                self.files[handle] = next(numbers)
                self.calls.append(("create", str(path), self.files[handle]))
            return handle

        def wrote(handle: int, data: Any) -> int:
            count = real_write(handle, data)
            if handle in self.files:
                self.calls.append(("write", self.files[handle], bytes(data[:count])))
            return count

        def flushed(handle: int) -> None:
            real_fsync(handle)
            self.calls.append(("flush names", folders[handle]) if handle in folders else ("flush", self.files[handle]))

        def replaced(source: Path, target: Path) -> Path:
            self.calls.append(("rename", str(source), str(target)))
            return real_replace(source, target)

        monkeypatch.setattr(os, "open", opened)
        monkeypatch.setattr(os, "write", wrote)
        monkeypatch.setattr(os, "fsync", flushed)
        monkeypatch.setattr(Path, "replace", replaced)


def after_power_loss(calls: list[tuple[Any, ...]], path: str) -> Iterator[bytes | None]:
    """Everything that may be at a path if power fails after these calls; None for no file."""
    data: dict[int, bytes] = {}
    on_disk: dict[int, bytes] = {}
    names: dict[str, int] = {}
    """Every name as the program sees it."""
    fixed: int | None = None
    """What the path certainly refers to on disk."""
    loose: list[int] = []
    """What it has referred to since then, which may or may not be on disk."""
    for call in calls:
        match call:
            case ("create", name, number):
                names[name], data[number], on_disk[number] = number, b"", b""
            case ("write", number, piece):
                data[number] += piece
            case ("flush", number):
                on_disk[number] = data[number]
            case ("rename", source, target):
                names[target] = names.pop(source)
                if target == path:
                    loose.append(names[target])
            case ("flush names", folder) if folder == str(Path(path).parent):
                fixed, loose = (loose[-1] if loose else fixed), []
    for number in (fixed, *loose):
        if number is None:
            yield None
            continue
        yield on_disk[number]
        if on_disk[number] != data[number]:
            yield data[number][: len(data[number]) // 2]


def test_what_was_kept_when_a_call_returned_survives_a_loss_of_power(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = Disk()
    disk.record(monkeypatch)
    store = SessionStore.create(tmp_path / "sessions", JOB, [], RehearsalClock(START))
    path = store.folder / "session.toml"
    returned = [(len(disk.calls), path.read_bytes())]
    for n in range(4):
        store.keep((ReadingRecord(f"r{n}", "a", "left", True, "machine", level("left", -12.0)[0], None, START),))
        returned.append((len(disk.calls), path.read_bytes()))
        store.note(Noted(f"note {n}", time=START))
        returned.append((len(disk.calls), path.read_bytes()))
    store.note(Done(time=START))
    returned.append((len(disk.calls), path.read_bytes()))
    whole = {content for _, content in returned}
    begun = returned[0][0]
    for moment in range(begun, len(disk.calls) + 1):
        kept = [content for count, content in returned if count <= moment][-1]
        later = [content for count, content in returned if count > moment][:1]
        for state in after_power_loss(disk.calls[:moment], str(path)):
            assert state in whole
            assert state in {kept, *later}
    assert len(disk.calls) > 40
