"""How many keys a whole job takes of somebody who turns as the screen proposes and lets proof steps run on."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.clock import RehearsalClock
from bench.procedure.load.library import Library
from bench.run_request import RunRequest
from bench.training.rehearse import target_answers
from bench.tui.app import BenchApp
from bench.tui.running_job import RunningJob
from bench.tui.screens.bench import BenchScreen
from bench.tui.screens.countdown import CountDown
from bench.workspace import Workspace
from tests.smooth import smooth_procedures
from tests.tui.keyboard import Keyboard, play
from tests.tui.screen_driver import says

MOST = {"open-reel-nab": 300, "quick-check": 52, "noise-reduction-itself": 31}
"""For the line-up a choice; for the others what they took of a person once."""
MOST_FOR_BIAS = 40


@pytest.fixture(autouse=True)
def _quick_count(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(CountDown, "beat_s", 0.01)


async def played(workspace: Workspace, procedure: str) -> tuple[Keyboard, float]:
    """The keys of a whole job, and its minutes."""
    clock = RehearsalClock()
    screen = BenchScreen(RunningJob(workspace, RunRequest(procedure), clock=clock))
    app = BenchApp(screen)
    answers = target_answers(Library(workspace).load_job(procedure))
    async with app.run_test(size=(80, 24)) as pilot:
        began = clock.now()
        keyboard = await play(pilot, screen, clock, answers)
        minutes = (clock.now() - began) / 60.0
        await says(pilot, "report.html")
    return keyboard, minutes


@pytest.mark.long
@pytest.mark.parametrize("procedure", MOST)
async def test_a_whole_job_takes_few_keys(tmp_path: Path, procedure: str) -> None:
    smooth_procedures(tmp_path / "procedures")
    keyboard, minutes = await played(Workspace(tmp_path), procedure)
    print(f"{procedure}: {keyboard.pressed} keys, {minutes:.0f} minutes; {keyboard.by_step.most_common(25)}")
    assert keyboard.pressed < MOST[procedure]
    bias = sum(n for step, n in keyboard.by_step.items() if step.rpartition(".")[2].startswith("bias"))
    assert bias < MOST_FOR_BIAS
