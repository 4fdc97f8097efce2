"""Exercises and their debriefs from the command line, as for a class."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.training.exercise_bench import REPO, DoesNothing, exercise, go_through, workspace


def tapebench(folder: Path, *args: str, typed: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "bench", "--workspace", str(folder), *args],
        input=typed,
        capture_output=True,
        text=True,
        check=False,
        cwd=REPO,
        env={**os.environ, "PYTHONHASHSEED": "0"},
        timeout=120,
    )


def test_one_line_for_each_exercise_and_the_rest_left_out(tmp_path: Path) -> None:
    run = go_through(tmp_path, DoesNothing(), exercise("azimuth-off", "dirty-head"))
    (tmp_path / "sessions" / "broken").mkdir()
    (tmp_path / "sessions" / "broken" / "session.toml").write_text("schema = ", encoding="utf-8")
    done = tapebench(tmp_path, "debriefs")
    assert done.returncode == 0
    head, row, last = done.stdout.splitlines()
    assert row.startswith(run.store.folder.name)
    assert "Replay, for practice, machine 1" in row
    figures = row.rpartition("machine 1")[2].split()
    assert figures[:6] == ["2", "0", "0", "0", "2", "0"], head
    assert last.startswith("not read: ")
    told = json.loads(tapebench(tmp_path, "debriefs", "--json").stdout)
    assert [f["name"] for f in told["debriefs"][0]["faults"]] == [
        "Replay azimuth out of adjustment",
        "Dirt on the replay head",
    ]


def test_a_workspace_without_exercises_says_so(tmp_path: Path) -> None:
    workspace(tmp_path)
    (tmp_path / "sessions").mkdir()
    assert "no exercises here" in tapebench(tmp_path, "debriefs").stdout


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("exercise", "replay", "--faults", "99"), "choose from 0 to 10"),
        (("exercise", "replay", "--fault", "azimut-off"), "azimuth-off"),
        (("exercise", "nothing-such"), "nothing-such"),
        (("debriefs", "nowhere"), "no such folder"),
    ],
)
def test_what_can_not_be_is_one_sentence(tmp_path: Path, args: tuple[str, ...], said: str) -> None:
    workspace(tmp_path)
    done = tapebench(tmp_path, *args)
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    assert said in done.stderr


def test_a_text_exercise_left_at_once_names_no_fault_and_can_be_gone_on_with(tmp_path: Path) -> None:
    workspace(tmp_path)
    done = tapebench(tmp_path, "exercise", "replay", "--plain", "--trainee", "Ada", "--seed", "2", typed="leave\n")
    assert done.returncode == 1, done.stderr
    assert "Broken off" in done.stdout
    assert "debrief" not in done.stdout
    assert "not over yet" in tapebench(tmp_path, "debriefs").stdout
    assert "Ada" in tapebench(tmp_path, "debriefs").stdout
    told = json.loads(tapebench(tmp_path, "debriefs", "--json").stdout)["debriefs"][0]
    assert told["hidden"] is None
    assert told["faults"] == told["said"] == []
