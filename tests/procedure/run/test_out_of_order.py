"""Steps out of order: their stage, the way back, and resuming an interrupted job."""

from __future__ import annotations

from pathlib import Path

from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run, resume_run
from bench.procedure.run import commands as say
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import CameBack, Looked
from bench.run_request import RunRequest
from bench.workspace import Workspace
from tests.procedure.flow_bench import CLEAN, HEAD, RECORD
from tests.smooth import smooth_procedures

LAST = '[[step]]\nkind = "by-hand"\nid = "last"\ntitle = "L"\ndo = "D."\n'


def opened(tmp_path: Path) -> OpenRun:
    smooth_procedures(tmp_path / "procedures")
    (tmp_path / "procedures" / "t.toml").write_text(HEAD + CLEAN + RECORD + LAST, encoding="utf-8")
    run = open_run(Workspace(tmp_path), RunRequest("t", seed=1), RehearsalClock(), real_time=False)
    run.port.open()
    run.runner.begin()
    return run


def listen(run: OpenRun) -> None:
    """Read sound until the listening step has heard everything, going on as a person would."""
    run.runner.obey(say.GoOn())
    while run.runner.wants_sound:
        block = run.port.read(0.0)
        assert block is not None
        run.runner.hear(block)


def step(run: OpenRun) -> str:
    shown = run.runner.snapshot().step
    return shown.id if shown is not None else ""


def test_a_step_is_made_at_once_at_the_stage_of_the_machine_and_the_job_goes_on(tmp_path: Path) -> None:
    run = opened(tmp_path)
    run.runner.obey(say.GoAside("record", "record"))
    assert step(run) == "record"
    listen(run)
    run.runner.obey(say.Accept("as found"))
    assert step(run) == "clean"
    kept = run.store.records()
    assert {(r.step, r.stage, r.judged) for r in kept} == {("record", "found-dirty", False)}
    run.runner.obey(say.GoOn())
    assert step(run) == "record"
    assert len(list(of_kind(run.store.events(), CameBack))) == 1
    run.end()


def test_an_interrupted_job_comes_back_too(tmp_path: Path) -> None:
    run = opened(tmp_path)
    run.runner.obey(say.GoAside("last", "last"))
    run.runner.obey(say.Leave())
    run.end()
    again = resume_run(run.store.folder, RehearsalClock(), real_time=False)
    again.port.open()
    again.runner.begin()
    assert step(again) == "last"
    again.runner.obey(say.GoOn())
    assert step(again) == "clean"
    again.end()


def test_what_a_look_showed_is_kept(tmp_path: Path) -> None:
    run = opened(tmp_path)
    run.runner.obey(say.Look("pinch-roller", seen=False))
    assert [(e.cause, e.seen) for e in of_kind(run.store.events(), Looked)] == [("pinch-roller", False)]
    run.end()
