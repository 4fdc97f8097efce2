"""A scripted bench thread, which takes the screen's commands and shows the test's snapshots; and screen reading."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from textual.app import App
from textual.pilot import Pilot

from bench.procedure.run import commands as say
from bench.procedure.state.snapshot import Outcome, Snapshot
from bench.tui.app import BenchApp
from bench.tui.screens.bench import BenchScreen
from bench.tui.widgets.line_widget import Line

GOLDENS = Path(__file__).parent / "goldens"
REPORT = "The report is sessions/2031-05-04-1410-front-room-deck/report.html"


class ScriptedThread:
    """Shows the snapshots that a test gives it, and keeps the commands that were posted."""

    def __init__(self, on_snapshot: Callable[[Snapshot], None], first: Snapshot) -> None:
        self._show = on_snapshot
        self._shown = first
        self.posted: list[say.Command] = []
        self._taken = 0
        self.fault: BaseException | None = None
        self.stops = 0
        self.ends = True

    def start(self) -> None:
        self.on_snapshot(self._shown)

    def on_snapshot(self, snapshot: Snapshot) -> None:
        self._shown = snapshot
        self._show(replace(snapshot, obeyed=self._taken))

    def post(self, command: say.Command) -> None:
        self.posted.append(command)
        self._taken += 1
        self.on_snapshot(self._shown)

    def stop(self, limit_s: float) -> bool:
        self.stops += 1
        return self.ends


class GuideHeard:
    """Records what the audible guide was asked to sound."""

    def __init__(self) -> None:
        self.offs: list[float | None] = []
        self.closed = False

    def show(self, off: float | None) -> None:
        self.offs.append(off)

    def close(self) -> None:
        self.closed = True


class ScriptedJob:
    """A job on a scripted thread."""

    trainee = False
    debrief: tuple[tuple[str, str], ...] = ()
    folder: Path | None = None

    def __init__(self, first: Snapshot, kept: str = REPORT) -> None:
        self.first = first
        self.kept = kept
        self.made: ScriptedThread | None = None
        self.closed: list[Outcome | None] = []
        self.suggested: say.Command = say.GoAside("hum", "hum")
        self.guides: list[GuideHeard] = []

    @property
    def desk(self) -> ScriptedThread:
        assert self.made is not None
        return self.made

    def open(self, on_snapshot: Callable[[Snapshot], None]) -> ScriptedThread:
        self.made = ScriptedThread(on_snapshot, self.first)
        return self.made

    def audible_guide(self) -> GuideHeard:
        self.guides.append(GuideHeard())
        return self.guides[-1]

    def close(self, outcome: Outcome | None) -> str:
        self.closed.append(outcome)
        return self.kept

    def diagnosis_page(self) -> tuple[list[str], say.Command | None]:
        return ["What is wrong: hum: almost certainly, 98 %"], self.suggested

    def diagnosis_line(self, before: Snapshot, now: Snapshot) -> str:
        return ""

    def close_late(self, line: Callable[[str], None]) -> None:
        line("waited")
        self.close(None)


def bench_app(first: Snapshot) -> tuple[BenchApp, ScriptedJob]:
    """An app that goes straight to the bench."""
    job = ScriptedJob(first)
    return BenchApp(BenchScreen(job)), job


async def until(pilot: Pilot[Any], true: Callable[[], object], what: str = "") -> None:
    """Wait until a condition holds; fails with the text of the screen when it never does."""
    for _ in range(250):
        await pilot.pause()
        if true():
            return
        await pilot.pause(0.02)
    raise AssertionError(f"never came: {what}\n{screen_text(pilot.app)}")


def texts(lines: list[Line]) -> list[str]:
    """The text of lines, without roles."""
    return ["".join(text for text, _ in line).rstrip() for line in lines]


async def says(pilot: Pilot[Any], words: str) -> str:
    """Wait until the screen shows these words; returns all its text."""
    await until(pilot, lambda: words in screen_text(pilot.app), words)
    return screen_text(pilot.app)


async def show(pilot: Pilot[Any], job: ScriptedJob, snapshot: Snapshot, words: str) -> str:
    """Give the screen another snapshot and wait for words from it."""
    job.desk.on_snapshot(snapshot)
    return await says(pilot, words)


def screen_text(app: App[Any]) -> str:
    """The text of the screen."""
    strips = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip).rstrip() for strip in strips) + "\n"


def check_golden(name: str, text: str) -> None:
    """Compare with the reviewed text; TAPEBENCH_GOLDENS=write accepts the new text."""
    path = GOLDENS / f"{name}.txt"
    if os.environ.get("TAPEBENCH_GOLDENS") == "write":
        path.write_text(text, encoding="utf-8")
    assert path.exists(), f"{path} is missing; look at the screen, then write it with TAPEBENCH_GOLDENS=write"
    assert text == path.read_text(encoding="utf-8")
