"""A desk without a bench: takes what the screen posts, shows what a test hands it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from textual.app import App
from textual.pilot import Pilot

from bench.procedure import commands as say
from bench.procedure.snapshot import Outcome, Snapshot
from bench.tui.app import BenchApp
from bench.tui.screens.bench import BenchScreen


class HandDesk:
    """Shows a snapshot when told to, and keeps what was posted."""

    def __init__(self, on_snapshot: Callable[[Snapshot], None], first: Snapshot) -> None:
        self.on_snapshot = on_snapshot
        self.first = first
        self.posted: list[say.Command] = []
        self.fault: BaseException | None = None
        self.stopped = False

    def start(self) -> None:
        self.on_snapshot(self.first)

    def post(self, command: say.Command) -> None:
        self.posted.append(command)

    def stop(self) -> None:
        self.stopped = True


class HandSitting:
    """Opens a hand desk."""

    def __init__(self, first: Snapshot, kept: str = "The report is sessions/2031-05-04-1410-deck/report.html") -> None:
        self.first = first
        self.kept = kept
        self.desk: HandDesk | None = None
        self.closed: list[Outcome | None] = []

    def open(self, on_snapshot: Callable[[Snapshot], None]) -> HandDesk:
        self.desk = HandDesk(on_snapshot, self.first)
        return self.desk

    def close(self, outcome: Outcome | None) -> str:
        self.closed.append(outcome)
        return self.kept


def bench_app(first: Snapshot) -> tuple[BenchApp, HandSitting]:
    """An app that goes straight to the bench."""
    sitting = HandSitting(first)
    return BenchApp(BenchScreen(sitting)), sitting


async def settle(pilot: Pilot[object], sitting: HandSitting | None = None) -> None:
    """Wait until the screen is open and has drawn."""
    for _ in range(50):
        await pilot.pause()
        if sitting is None or (sitting.desk is not None and pilot.app.screen.is_mounted):
            break
        await pilot.pause(0.02)
    await pilot.pause(0.2)


def screen_text(app: App[object]) -> str:
    """What is on the screen, as text."""
    width, height = app.size
    lines = app.screen._compositor.render_strips()
    texts = ["".join(segment.text for segment in strip).rstrip() for strip in lines]
    del width
    return "\n".join(texts[:height]) + "\n"


def save_picture(app: App[object], path: Path) -> None:
    path.write_text(app.export_screenshot(), encoding="utf-8")
