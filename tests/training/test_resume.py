"""An unfinished line-up is resumed at the step where it stopped, on the practice machine as it was left."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.clock import RehearsalClock
from bench.measure.reading import Reading
from bench.open_run import OpenRun, open_run, resume_run
from bench.procedure.state.events import Acted, Done, Resumed, Started
from bench.procedure.state.journal import ReadingRecord
from bench.run_request import RunRequest
from bench.session.record.reader import read_session
from bench.session.record.store import unfinished
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from bench.workspace import Workspace
from tests.results import a_reading
from tests.smooth import smooth_procedures

SHORT = """
format = 1
title = "Short"
summary = "Clean, demagnetise, set replay level, check it."
takes_minutes = 5

[[step]]
kind = "by-hand"
id = "clean"
title = "Clean and demagnetise"
do = "Clean and demagnetise."
does = ["clean", "demagnetise"]

[[step]]
kind = "adjust"
id = "replay-level"
title = "Replay level"
do = "Turn it."
quantity = "level"
plays = "level-400"
target = "machine.replay_level"
trimmers = { left = "replay level left", right = "replay level right" }

[[step]]
kind = "measure"
id = "level-again"
title = "Replay level, measured"
do = "Let it play."
quantity = "level"
plays = "level-400"
seconds = 3.0
target = "machine.replay_level"
"""


class BreaksOff(BaseException):
    """As after a power failure."""


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    smooth_procedures(tmp_path / "procedures")
    (tmp_path / "procedures" / "short.toml").write_text(SHORT, encoding="utf-8")
    return Workspace(tmp_path)


def run(opened: OpenRun) -> int:
    try:
        return rehearse(opened.runner, opened.port, opened.clock, UnattendedHands()).exit_code
    finally:
        opened.store.close()


def readings(folder: Path) -> list[ReadingRecord]:
    return list(read_session(folder).readings)


def test_resumed_after_the_trimmers_were_set(workspace: Workspace) -> None:
    whole = open_run(workspace, RunRequest("short", seed=4), RehearsalClock(), real_time=False)
    assert run(whole) == 0
    broken = open_run(workspace, RunRequest("short", seed=4), RehearsalClock(), real_time=False)
    step_done = broken.store.step_done

    def power_goes(step: str) -> None:
        step_done(step)
        if step == "replay-level":
            raise BreaksOff

    broken.store.step_done = power_goes  # type: ignore[method-assign]
    with pytest.raises(BreaksOff):
        run(broken)
    offered = unfinished(workspace.sessions)
    titles = {s.id: s.title for s in broken.job.steps}
    assert [(o.folder, o.last_step, o.readings) for o in offered] == [(broken.store.folder, titles["replay-level"], 2)]
    resumed = resume_run(broken.store.folder, RehearsalClock(), real_time=False)
    assert run(resumed) == 0
    before, after = readings(whole.store.folder), readings(broken.store.folder)
    assert [(r.id, r.step) for r in after] == [(r.id, r.step) for r in before]
    for was, now in zip(before[2:], after[2:], strict=True):
        assert isinstance(was.reading, Reading)
        assert a_reading(now.reading).value == pytest.approx(was.reading.value, abs=0.02)  # hiss and flutter are random
    kinds = [type(e) for e in read_session(broken.store.folder).events]
    assert kinds.count(Started) == 1
    assert kinds.count(Resumed) == 1
    assert kinds[-1] is Done
    assert unfinished(workspace.sessions) == []


def test_a_machine_that_was_not_put_back_would_be_seen(workspace: Workspace) -> None:
    """The basis of the test above: without the turns the level is out."""
    opened = open_run(workspace, RunRequest("short", seed=4), RehearsalClock(), real_time=False)
    opened.store.note(Acted("clean", step="clean", time=opened.clock.wall()))
    opened.store.note(Acted("demagnetise", step="clean", time=opened.clock.wall()))
    opened.store.step_done("clean")
    opened.store.step_done("replay-level")
    assert run(opened) == 1


@pytest.mark.parametrize(
    "request_",
    [
        RunRequest("cassette-several-tapes"),
        RunRequest("line-up-cassette", tape="ferric-gala", reference_tape="workshop-set", interface="bench-interface"),
    ],
    ids=["several-tapes", "a-set-of-reference-tapes"],
)
def test_resumed_it_has_the_sheets_it_was_begun_with(tmp_path: Path, request_: RunRequest) -> None:
    smooth_procedures(tmp_path / "procedures")
    begun = open_run(Workspace(tmp_path), request_, RehearsalClock(), real_time=False)
    begun.end()
    resumed = resume_run(begun.store.folder, RehearsalClock(), real_time=False)
    resumed.end()
    was, now = begun.job, resumed.job
    assert (now.machine, now.tape, now.reference_tape) == (was.machine, was.tape, was.reference_tape)
    assert (now.further, now.interface, now.names) == (was.further, was.interface, was.names)
    assert [s.id for s in now.steps] == [s.id for s in was.steps]
