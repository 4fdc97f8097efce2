"""Entries that are not on disk yet are reported, and the bench keeps trying while it runs."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from bench.clock import RealClock, RehearsalClock
from bench.open_run import OpenRun, open_run
from bench.procedure.kinds.bench import SAVE_AGAIN_S
from bench.procedure.run.commands import Note
from bench.procedure.run.desk import Desk
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Noted
from bench.procedure.state.snapshot import Snapshot
from bench.run_request import RunRequest
from bench.session.record.reader import read_session
from tests.procedure.small_bench import CLEAN, ENTRY, HEAD, make_bench


def opened(root: Path, said: list[str]) -> OpenRun:
    workspace = make_bench(root, short=HEAD + CLEAN + ENTRY)
    run = open_run(workspace, RunRequest("short"), RehearsalClock(), real_time=False, say=said.append)
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
    assert run.runner.snapshot().unsaved != ""  # not retried yet
    run.clock.wait(SAVE_AGAIN_S)
    run.runner.tick()
    assert run.runner.snapshot().unsaved == ""
    assert [e.text for e in of_kind(read_session(folder).events, Noted)] == ["before", "meanwhile"]
    assert any("meanwhile" in line for line in said)
    assert run.end() == ""


def test_the_bench_thread_keeps_trying_whatever_the_port(tmp_path: Path) -> None:
    """A capture to which no step listens yet: no block comes, but writing is still retried."""
    import soundfile

    soundfile.write(tmp_path / "capture.wav", [[0.0, 0.0]] * 4800, 48000)
    workspace = make_bench(tmp_path, short=HEAD + ENTRY)
    run = open_run(workspace, RunRequest("short", port=str(tmp_path / "capture.wav")), RealClock(), real_time=False)
    shown: list[Snapshot] = []
    desk = Desk(run.runner, run.port, run.clock, shown.append)
    desk.start()
    folder = run.store.folder
    folder.rename(tmp_path / "away")
    desk.post(Note("meanwhile"))
    wait_for(lambda: bool(shown and shown[-1].unsaved))
    (tmp_path / "away").rename(folder)
    wait_for(lambda: not run.runner.snapshot().unsaved)
    desk.stop()
    assert run.end() == ""
    assert [e.text for e in of_kind(read_session(folder).events, Noted)] == ["meanwhile"]


def wait_for(so: Callable[[], bool]) -> None:
    until = time.monotonic() + 30
    while not so():
        assert time.monotonic() < until
        time.sleep(0.02)
