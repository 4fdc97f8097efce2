"""Procedures rehearsed automatically on the practice machine: the whole chain from file to report, nothing mocked."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from bench.procedure.load.library import Library
from bench.training.rehearse import target_answers
from bench.workspace import Workspace, shipped_procedures
from tests.smooth import smooth_procedures

REPO = Path(__file__).parents[2]


@dataclass(frozen=True)
class Ended:
    code: int
    told: dict[str, Any]
    folder: Path
    errors: str


@pytest.fixture
def workspace(tmp_path: Path) -> Path:
    smooth_procedures(tmp_path / "procedures")
    return tmp_path


def rehearse(workspace: Path, *args: str) -> Ended:
    done = subprocess.run(
        [sys.executable, "-m", "bench", "--workspace", str(workspace), "rehearse", *args, "--json"],
        capture_output=True,
        text=True,
        check=False,
        cwd=REPO,
        env={**os.environ, "PYTHONHASHSEED": "0"},
    )
    told = json.loads(done.stdout) if done.stdout else {}
    return Ended(done.returncode, told, Path(told.get("session", "")), done.stderr)


@pytest.mark.long
def test_a_whole_line_up_of_a_dirty_machine_ends_clean_with_every_verdict_in(workspace: Path) -> None:
    ended = rehearse(workspace, "line-up-cassette", "--fault", "dirty-head", "--seed", "1")
    assert (ended.code, set(ended.told["verdicts"])) == (0, {"in"}), ended.errors
    assert ended.told["verdicts"]["in"] > 60
    assert {f.name for f in ended.folder.iterdir() if f.is_file()} >= {"session.toml", "report.html", "readings.csv"}
    session = tomllib.loads((ended.folder / "session.toml").read_text(encoding="utf-8"))
    found = [r for r in session["readings"] if r["stage"] == "found-clean" and r.get("verdict") == "out"]
    assert found, "the machine was out of line as found, or nothing was shown to be put right"
    assert {e["kind"] for e in session["events"]} >= {"start", "act", "tick", "answer", "turns", "sign-off", "done"}
    treble = {s: response(ended, s, 8000.0) for s in ("found-dirty", "found-clean", "left")}
    assert treble["found-clean"] > treble["found-dirty"] + 5
    assert abs(treble["left"]) < 2


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1, 51))
def test_fifty_machines_each_out_of_line_in_its_own_way(workspace: Path, seed: int) -> None:
    ended = rehearse(workspace, "line-up-cassette", "--seed", str(seed))
    assert ended.code == 0, ended.told.get("said") or ended.errors
    assert set(ended.told["verdicts"]) == {"in"}


def test_a_dirty_head_is_out_where_nothing_is_cleaned_and_the_report_names_the_steps(workspace: Path) -> None:
    ended = rehearse(workspace, "record-replay-check", "--fault", "dirty-head")
    assert ended.code == 1
    assert "Response at −20 dB" in ended.told["said"]
    assert "Response at −20 dB" in (ended.folder / "report.html").read_text(encoding="utf-8")
    treble = [r for r in ended.told["readings"] if r["quantity"] == "response" and r["frequency_hz"] == 8000]
    assert all(r["verdict"] == "out" and r["value"] < -5 for r in treble)
    assert len(treble) == 2


def response(ended: Ended, stage: str, hz: float) -> float:
    values = [
        r["value"]
        for r in ended.told["readings"]
        if (r["quantity"], r["stage"], r["frequency_hz"]) == ("response", stage, hz) and r["step"].endswith("/response")
    ]
    return float(sum(values) / len(values))


def test_the_reference_tape_never_meets_an_uncleaned_machine_without_a_reason(workspace: Path) -> None:
    stopped = rehearse(workspace, "speed-and-flutter")
    assert stopped.code == 2
    assert stopped.errors.splitlines()[-1].startswith("tapebench: stopped before")


def test_the_same_seed_gives_the_same_readings_and_the_reason_given_is_kept(workspace: Path) -> None:
    reason = "cleaned an hour ago on the other bench"
    runs = [rehearse(workspace, "speed-and-flutter", "--seed", "7", "--override", reason) for _ in range(2)]
    assert all(run.code in (0, 1) for run in runs)
    assert all(reason in (run.folder / "session.toml").read_text(encoding="utf-8") for run in runs)
    values = [[r["value"] for r in run.told["readings"]] for run in runs]
    assert values[0] == values[1]
    assert len(values[0]) > 10


def test_what_a_rehearsal_types_meets_the_target() -> None:
    job = Library(Workspace(shipped_procedures().parent)).load_job("proof")
    assert (
        target_answers(job)["other-side"] == "63"
    )  # well above 60 dB, the limit of DIN 45500 part 4 as quoted in print
