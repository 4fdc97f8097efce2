"""A light process that keeps readings and is killed; run as `python -m tests.session.killed`.

It prints the id of a reading only after `keep` has returned, so a printed reading must be on disk.

    run FOLDER              keeps readings as fast as it can until it is killed
    points FOLDER STRIDE    repeats the same short work in child processes; each kills itself at another point: before,
                            during and after every call that touches the disk, or at every STRIDEth of these points.
                            One line of JSON for each child: what was accepted, and whether it was killed.
"""

from __future__ import annotations

import json
import os
import signal
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

from bench.audio import flac
from bench.clock import RehearsalClock
from bench.measure.method import Method
from bench.measure.reading import Reading
from bench.procedure.state.events import Done, Noted
from bench.procedure.state.journal import ReadingRecord, Sound
from bench.session.record.record import JobFacts
from bench.session.record.store import SessionStore

MANY = 6
"""Readings in each half of the short work."""
START = datetime(2026, 5, 3, 10, 12, tzinfo=UTC)
SAMPLES = np.random.default_rng(1).uniform(-0.5, 0.5, size=(3000, 2)).astype(np.float32)
JOB = JobFacts("Lanternhill deck", "", "", "Line up", "", "", "", 2, "practice machine", procedure_id="p")


def reading(n: int) -> tuple[ReadingRecord]:
    """The nth reading."""
    value = Reading("level", "left", -12.0 + n % 7 / 10, 0.1, frequency_hz=315.0, method=Method("steady tone"))
    return (ReadingRecord(f"r{n:04d}", "step", "left", True, "reference tape", value, None, START),)


def work(folder: Path, accepted: Callable[[str], None], many: int) -> None:
    """Begin a session, keep readings, interrupt it, resume it and finish it."""
    clock = RehearsalClock(START)
    procedure = folder / "p.toml"
    store = SessionStore.create(folder / "sessions", JOB, [procedure], clock, evidence=True)
    for n in range(1, many + 1):
        store.keep(reading(n))
        accepted(f"r{n:04d}")
    store.keep_sound(Sound(flac.encoded(SAMPLES, 48000), tuple(r.id for r in store.records())))
    store.note(Noted("half-way", step="step", time=START))
    store.close()
    store = SessionStore.reopen(store.folder)
    store.step_done("step")
    for n in range(many + 1, 2 * many + 1):
        store.keep(reading(n))
        accepted(f"r{n:04d}")
    store.note(Done(time=START))
    store.close()


def run(folder: Path) -> None:
    """Keep readings until killed."""
    (folder / "p.toml").write_text("format = 1\n")

    def tell(id_: str) -> None:
        print(id_, flush=True)

    print("ready", flush=True)
    work(folder, tell, 5000)


def kill_at(point: int) -> None:
    """Count every call that touches the disk, and die at the nth."""
    count = 0

    def reach() -> None:
        nonlocal count
        if count == point:
            os.kill(os.getpid(), signal.SIGKILL)
        count += 1

    def deadly(real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **kwargs: Any) -> Any:
            reach()
            result = real(*args, **kwargs)
            reach()
            return result

        return call

    write = os.write

    def half(handle: int, data: Any) -> int:
        reach()
        done = write(handle, bytes(data)[: len(data) // 2])
        reach()
        done += write(handle, bytes(data)[done:])
        reach()
        return done

    for owner, name in ((os, "open"), (os, "fsync"), (os, "close"), (os, "ftruncate"), (Path, "replace")):
        setattr(owner, name, deadly(getattr(owner, name)))
    for name in ("mkdir", "unlink"):
        setattr(Path, name, deadly(getattr(Path, name)))
    os.write = half


def points(folder: Path, stride: int) -> None:
    """Start one child for each point, until one survives."""
    killed = True
    point = 0
    while killed:
        place = folder / f"point{point:04d}"
        place.mkdir()
        (place / "p.toml").write_text("format = 1\n")
        told, tell = os.pipe()
        child = os.fork()
        if child == 0:
            in_child(place, point, tell)
        os.close(tell)
        with os.fdopen(told) as lines:
            accepted = lines.read().split()
        _, status = os.waitpid(child, 0)
        killed = os.WIFSIGNALED(status)
        print(json.dumps({"folder": str(place), "accepted": accepted, "killed": killed, "status": status}), flush=True)
        point += stride


def in_child(place: Path, point: int, tell: int) -> NoReturn:
    """Do the work, and report through a pipe what was accepted."""
    write = os.write

    def accepted(id_: str) -> None:
        write(tell, f"{id_}\n".encode())

    kill_at(point)
    work(place, accepted, MANY)
    os._exit(0)


if __name__ == "__main__":
    if sys.argv[1] == "run":
        run(Path(sys.argv[2]))
    else:
        points(Path(sys.argv[2]), int(sys.argv[3]))
