"""At whatever moment the program is killed, no accepted reading is missing and the session is complete."""

from __future__ import annotations

import hashlib
import json
import os
import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from bench.session.record.atomic import PART
from bench.session.record.reader import read_session
from bench.session.record.store import SessionStore, unfinished
from tests.session.killed import MANY

pytestmark = pytest.mark.skipif(os.name == "nt", reason="no SIGKILL, no fork")
ROOT = Path(__file__).parents[2]


def check(folder: Path, accepted: list[str]) -> bool:
    """Check that the session is complete, has what was accepted, and can be resumed. Returns whether there is one."""
    found = list((folder / "sessions").glob("*/session.toml"))
    if not found:
        assert accepted == []
        assert unfinished(folder / "sessions") == []
        return False
    session = read_session(found[0].parent)
    ids = [r.id for r in session.readings]
    assert ids[: len(accepted)] == accepted
    assert len(ids) <= len(accepted) + 1  # the next one may already be on disk
    for sound in session.evidence:
        assert hashlib.sha256((session.folder / sound.path).read_bytes()).hexdigest() == sound.sha256
    if not session.done:
        assert [u.folder for u in unfinished(folder / "sessions")] == [session.folder]
        store = SessionStore.reopen(session.folder)
        store.step_done("after")
        store.close()
        assert not list(session.folder.rglob(f".*{PART}"))
        assert [r.id for r in read_session(session.folder).readings] == ids
    return True


def killed_at_points(folder: Path, stride: int) -> int:
    """Kill a child at every STRIDEth point and check each session; returns how many were killed."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.session.killed", "points", str(folder), str(stride)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert [t["killed"] for t in told] == [True] * (len(told) - 1) + [False]
    assert told[-1]["status"] == 0
    assert told[-1]["accepted"] == [f"r{n:04d}" for n in range(1, 2 * MANY + 1)]
    whole = [check(Path(t["folder"]), t["accepted"]) for t in told]
    assert 0 < whole.count(False) < len(told) / 4  # only while the session is being created
    return len(told) - 1


def test_killed_at_every_eleventh_point_that_touches_the_disk(tmp_path: Path) -> None:
    assert killed_at_points(tmp_path, 11) > 25


@pytest.mark.long
def test_killed_at_every_point_that_touches_the_disk(tmp_path: Path) -> None:
    assert killed_at_points(tmp_path, 1) > 300


def killed_at_random(folder: Path, seed: int) -> int:
    """After a while, kill a process that keeps readings; returns how many it had accepted."""
    folder.mkdir()
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.session.killed", "run", str(folder)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    time.sleep(random.Random(seed).uniform(0.0, 0.4))
    process.kill()
    accepted = process.stdout.read().split()
    process.wait()
    if accepted and len(accepted[-1]) < 5:  # the id was cut off
        accepted.pop()
    check(folder, accepted)
    return len(accepted)


def test_killed_at_six_random_moments(tmp_path: Path) -> None:
    counts = [killed_at_random(tmp_path / str(n), n) for n in range(6)]
    assert max(counts) > 10
    assert len(set(counts)) > 3


@pytest.mark.long
def test_killed_at_a_hundred_random_moments(tmp_path: Path) -> None:
    assert sum(killed_at_random(tmp_path / str(n), 1000 + n) for n in range(100)) > 1000
