"""A practice machine comes back as it was left, which is the basis of its history."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bench.cli import main
from bench.clock import RehearsalClock
from bench.open_run import open_run, resume_run
from bench.problem import Problem
from bench.procedure.state.events import NotApplicable, Started
from bench.run_request import RunRequest
from bench.session.record.reader import read_session
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from bench.workspace import Workspace
from tests.results import a_reading
from tests.smooth import smooth_procedures
from tests.training.test_resume import SHORT

LOOK = SHORT.replace(SHORT[SHORT.index('[[step]]\nkind = "adjust"') : SHORT.index('[[step]]\nkind = "measure"')], "")
"""Clean, then measure without adjusting."""


@pytest.fixture(name="workspace", scope="module")
def _workspace(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    root = tmp_path_factory.mktemp("bench")
    smooth_procedures(root / "procedures")
    (root / "procedures" / "short.toml").write_text(SHORT, encoding="utf-8")
    (root / "procedures" / "look.toml").write_text(LOOK, encoding="utf-8")
    return Workspace(root)


@pytest.fixture(name="first", scope="module")
def _first(workspace: Workspace) -> Path:
    args = ["--workspace", str(workspace.root), "rehearse", "short", "--seed", "4", "--date", "2025-11-20"]
    assert main(args) == 0
    (folder,) = workspace.sessions.iterdir()
    return folder


def errors(folder: Path) -> list[float]:
    return [
        (a_reading(r.reading).value) - (r.verdict.target or 0.0)
        for r in read_session(folder).readings
        if r.verdict is not None
    ]


def look(workspace: Workspace, after: Path | None, seed: int = 4) -> Path:
    clock = RehearsalClock()
    opened = open_run(workspace, RunRequest("look", seed=seed, after=after), clock, real_time=False)
    rehearse(opened.runner, opened.port, clock, UnattendedHands())
    assert opened.end() == ""
    return opened.store.folder


def test_the_day_is_what_was_said(first: Path) -> None:
    assert first.name.startswith("2025-11-20-1000-")


def test_it_comes_back_with_its_trimmers_where_they_were_left(workspace: Workspace, first: Path) -> None:
    assert max(map(abs, errors(look(workspace, None)))) > 1.0
    left = errors(first)[-2:]
    again = look(workspace, first)
    assert errors(again) == pytest.approx(left, abs=0.05)  # hiss and flutter are drawn anew
    assert errors(look(workspace, again)) == pytest.approx(left, abs=0.05)  # and again, relative to the start
    assert isinstance(read_session(again).events[0], Started | NotApplicable)


def test_broken_off_it_is_resumed_so_too(workspace: Workspace, first: Path) -> None:
    opened = open_run(workspace, RunRequest("look", seed=4, after=first), RehearsalClock(), real_time=False)
    opened.runner.begin()
    opened.end()
    clock = RehearsalClock()
    resumed = resume_run(opened.store.folder, clock, real_time=False)
    rehearse(resumed.runner, resumed.port, clock, UnattendedHands())
    assert resumed.end() == ""
    assert errors(opened.store.folder) == pytest.approx(errors(first)[-2:], abs=0.05)


def test_another_machine_is_not_turned_by_it(workspace: Workspace, first: Path) -> None:
    before = list(workspace.sessions.iterdir())
    with pytest.raises(Problem, match="that session is of another machine"):
        open_run(workspace, RunRequest("look", seed=5, after=first), RehearsalClock(), real_time=False)
    assert list(workspace.sessions.iterdir()) == before


@pytest.mark.parametrize("day", ["tomorrow", "2025-13-01", "20-11-2025"])
def test_a_day_that_is_none(workspace: Workspace, capsys: pytest.CaptureFixture[str], day: str) -> None:
    assert main(["--workspace", str(workspace.root), "rehearse", "look", "--date", day]) == 2
    assert "is not a date such as 2026-05-03" in capsys.readouterr().err


def test_its_history_is_one_machine(workspace: Workspace, first: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--workspace", str(workspace.root), "history", "--machine", "practice machine 4", "--json"]) == 0
    assert first.name in [v["session"] for v in json.loads(capsys.readouterr().out)["visits"]]
