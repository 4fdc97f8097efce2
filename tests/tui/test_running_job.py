"""The screen on a real bench: runner, session and practice machine, driven by keys alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.clock import RehearsalClock
from bench.crash import crash_file
from bench.procedure.kinds.by_hand.by_hand import ByHandActivity
from bench.procedure.load.library import Library
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Answered
from bench.run_request import RunRequest
from bench.session.record.reader import read_session
from bench.tui.app import BenchApp
from bench.tui.running_job import RunningJob
from bench.tui.screens.bench import BenchScreen
from bench.tui.screens.countdown import CountDown
from bench.workspace import Workspace
from tests.procedure.flow_bench import CLEAN, HEAD, words
from tests.smooth import smooth_procedures
from tests.tui.keyboard import Keys, play
from tests.tui.screen_driver import says, screen_text, until

pytestmark = pytest.mark.usefixtures("_bench_never_idle")


@pytest.fixture(autouse=True)
def _quick_count(monkeypatch: pytest.MonkeyPatch) -> None:
    """A count-down takes its time; here it need not."""
    monkeypatch.setattr(CountDown, "beat_s", 0.01)


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    smooth_procedures(tmp_path / "procedures")
    return Workspace(tmp_path)


async def run(workspace: Workspace, wanted: RunRequest, size: tuple[int, int]) -> tuple[Keys, BenchScreen, str]:
    clock = RehearsalClock()
    screen = BenchScreen(RunningJob(workspace, wanted, clock=clock))
    app = BenchApp(screen)
    async with app.run_test(size=size) as pilot:
        keys = await play(pilot, screen, clock)
        await says(pilot, "report.html")
        text = screen_text(app)
        await pilot.press("space")
        await until(pilot, lambda: app.return_value is not None)
    return keys, screen, text


async def test_a_job_by_hand_ends_with_a_report(workspace: Workspace) -> None:
    keys, screen, text = await run(workspace, RunRequest("clean"), (80, 24))
    assert screen.exit_code == 0
    assert "Nothing judged." in text
    (folder,) = workspace.sessions.iterdir()
    assert (folder / "report.html").exists()
    assert read_session(folder).done
    steps = Library(workspace).load_job("clean").steps
    assert keys.pressed <= len(steps) + sum(len(getattr(step, "checklist", ())) for step in steps)


@pytest.mark.parametrize("method", ["begin", "view", "go_on"])
async def test_a_fault_in_a_step_is_said_on_the_screen_and_what_was_accepted_is_safe(
    workspace: Workspace, method: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object) -> None:
        raise ZeroDivisionError("injected")

    monkeypatch.setattr(ByHandActivity, method, fails)
    (workspace.root / "procedures" / "t.toml").write_text(HEAD + words("kept") + CLEAN, encoding="utf-8")
    screen = BenchScreen(RunningJob(workspace, RunRequest("t"), clock=RehearsalClock()))
    app = BenchApp(screen)
    async with app.run_test(size=(80, 24)) as pilot:
        await says(pilot, "Kept")
        await pilot.press(*"safe", "enter")
        if method == "go_on":
            await says(pilot, "Done: go on")
            await pilot.press("space")
        text = await says(pilot, "Please send us")
        assert "A fault of this program stopped the job at “Clean”." in text
        (folder,) = workspace.sessions.iterdir()
        assert folder.name in "".join(text.split())
        await pilot.press("space")
        await until(pilot, lambda: app.fault is not None)
    assert isinstance(app.fault, ZeroDivisionError)
    assert screen.exit_code == 3
    assert [e.answer for e in of_kind(read_session(folder).events, Answered)] == ["safe"]
    Path(crash_file(app.fault).rsplit(" ", 1)[1]).unlink()


@pytest.mark.long
@pytest.mark.parametrize("size", [(80, 24), (160, 45)])
async def test_a_whole_line_up_by_keys(workspace: Workspace, size: tuple[int, int]) -> None:
    keys, screen, text = await run(workspace, RunRequest("line-up-cassette"), size)
    (folder,) = workspace.sessions.iterdir()
    assert screen.exit_code == 0, text
    assert "All in." in text
    session = read_session(folder)
    assert session.done
    assert keys.turned > 0
