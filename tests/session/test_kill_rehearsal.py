"""A rehearsed session killed at random moments has every reading that was reported as accepted."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from bench.session.record.reader import read_session
from bench.session.record.store import unfinished

pytestmark = pytest.mark.skipif(os.name == "nt", reason="no SIGKILL")


def rehearse_and_kill(workspace: Path, procedure: str, seed: int) -> int:
    """Kill a rehearsal shortly after some accepted readings; returns how many were accepted."""
    workspace.mkdir()
    rng = random.Random(seed)
    process = subprocess.Popen(
        [sys.executable, "-m", "bench", "--workspace", str(workspace), "rehearse", procedure, "--seed", str(seed)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    wanted = rng.randint(1, 24)
    accepted: list[str] = []
    for line in process.stderr:
        if line.startswith("accepted "):
            accepted.append(line.split()[1])
            if len(accepted) == wanted:
                break
    time.sleep(rng.uniform(0.0, 0.02))
    process.kill()
    lines = process.stderr.read().splitlines(keepends=True)
    process.wait()
    accepted += [line.split()[1] for line in lines if line.startswith("accepted ") and line.endswith("\n")]
    (broken,) = unfinished(workspace / "sessions")
    ids = [r.id for r in read_session(broken.folder).readings]
    assert ids[: len(accepted)] == accepted
    assert len(accepted) >= wanted
    return len(accepted)


@pytest.mark.long
def test_a_rehearsal_killed_at_ten_random_moments(tmp_path: Path) -> None:
    counts = [rehearse_and_kill(tmp_path / str(n), "record-replay-check", n) for n in range(1, 11)]
    assert len(set(counts)) > 3
