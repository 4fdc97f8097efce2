"""What is not on disk yet is shown, and the bench keeps trying while it runs."""

from __future__ import annotations

from pathlib import Path

from bench.clock import RehearsalClock
from bench.opening import Opened, Wanted, open_run
from bench.procedure.commands import Note
from bench.procedure.kinds.base import SAVE_AGAIN_S
from bench.session.reader import read_session
from tests.procedure.small_bench import CLEAN, ENTRY, HEAD, make_bench


def opened(root: Path, said: list[str]) -> Opened:
    workspace = make_bench(root, short=HEAD + CLEAN + ENTRY)
    run = open_run(workspace, Wanted("short"), RehearsalClock(), paced=False, say=said.append)
    run.runner.begin()
    return run


def test_a_drive_that_is_away_for_a_while(tmp_path: Path) -> None:
    said: list[str] = []
    run = opened(tmp_path, said)
    run.runner.obey(Note("before"))
    folder = run.store.folder
    folder.rename(tmp_path / "away")
    run.runner.obey(Note("meanwhile"))
    assert "put the folder back" in run.runner.snapshot().unsaved
    assert not any("meanwhile" in line for line in said)
    run.clock.wait(SAVE_AGAIN_S)
    run.runner.tick()
    assert "put the folder back" in run.runner.snapshot().unsaved
    (tmp_path / "away").rename(folder)
    run.runner.tick()
    assert run.runner.snapshot().unsaved != ""  # not yet tried again
    run.clock.wait(SAVE_AGAIN_S)
    run.runner.tick()
    assert run.runner.snapshot().unsaved == ""
    assert [e.text for e in read_session(folder).events if e.kind == "note"] == ["before", "meanwhile"]
    assert any("meanwhile" in line for line in said)
    assert run.end() == ""
