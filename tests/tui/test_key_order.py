"""Keys typed at once do what the same keys do when they are typed one by one."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest
from textual import events
from textual.pilot import Pilot
from textual.widgets import Input

from bench.procedure.run import commands as say
from bench.procedure.state.snapshot import CheckRow, Prompt, Snapshot
from bench.tui.app import BenchApp
from bench.tui.screens.bench import BenchScreen
from bench.tui.screens.countdown import CountDown
from tests.tui import samples
from tests.tui.screen_driver import ScriptedJob, bench_app, screen_text, until

KEYS = ("1", "2", "3", "left", "right", "up", "down", "backspace", "space", "enter", "escape", "n", "k", "v", "w", "h")
FACES: tuple[Callable[[], Snapshot], ...] = (
    samples.adjusting,
    samples.cleaning,
    lambda: samples.asking("number"),
    lambda: samples.asking("choice"),
    lambda: samples.asking("words"),
    lambda: samples.listening(0, prompt=Prompt("go-on", "Start the tones", sounds=True)),
)


def type_at_once(app: BenchApp, keys: Sequence[str]) -> None:
    """As a terminal hands over keys that were typed while the program was busy."""
    for key in keys:
        event = events.Key(key, {"space": " "}.get(key, key if len(key) == 1 else None))
        event.set_sender(app)
        assert app._driver is not None
        app._driver.send_message(event)


def answering(job: ScriptedJob) -> None:
    """Lets the scripted thread act on commands, as a bench thread would, a moment later."""
    faces = {n: face() for n, face in enumerate(FACES)}
    desk, at = job.desk, {"face": 0}
    post = desk.post

    def obeyed(command: say.Command) -> None:
        shown = desk._shown
        if isinstance(command, say.GoOn | say.Answer | say.Skip):
            at["face"] = (at["face"] + 1) % len(faces)
            shown = faces[at["face"]]
        elif isinstance(command, say.Tick):
            n = command.index
            checks = [CheckRow(c.text, c.ticked != (i == n)) for i, c in enumerate(shown.checks)]
            shown = replace(shown, checks=tuple(checks))
        desk._shown = shown
        post(command)

    def later(command: say.Command) -> None:
        desk._show.__self__.call_later(obeyed, command)  # type: ignore[attr-defined]

    desk.post = later  # type: ignore[method-assign]


async def settled(pilot: Pilot[int], app: BenchApp) -> None:
    await until(pilot, lambda: not app._at_work and not app._typed)
    await pilot.pause()


async def both_ways(bursts: list[list[str]]) -> None:
    """Two screens: one gets each burst at once, the other key by key."""
    (quick, quick_job), (slow, slow_job) = bench_app(FACES[0]()), bench_app(FACES[0]())
    async with quick.run_test(size=(80, 24)) as one, slow.run_test(size=(80, 24)) as other:
        for pilot, app, job in ((one, quick, quick_job), (other, slow, slow_job)):
            await until(pilot, lambda app=app: "F1 help" in screen_text(app))  # type: ignore[misc]
            answering(job)
        for burst in bursts:
            type_at_once(quick, burst)
            await settled(one, quick)
            for key in burst:
                type_at_once(slow, [key])
                await settled(other, slow)
            assert quick_job.desk.posted == slow_job.desk.posted, burst
            await until(one, lambda: screen_text(quick) == screen_text(slow), f"the same screen after {burst}")


def bursts(count: int, seed: int) -> list[list[str]]:
    picked = random.Random(seed)
    return [picked.choices(KEYS, k=picked.randint(2, 8)) for _ in range(count)]


@pytest.fixture(autouse=True)
def _still(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing changes by time alone."""
    monkeypatch.setattr(CountDown, "beat_s", 3600.0)
    monkeypatch.setattr("bench.tui.screens.bench_card.caution_reading_s", lambda parts: 3600.0)
    monkeypatch.setattr(Input, "cursor_blink", False)


async def test_a_few_random_bursts() -> None:
    await both_ways(bursts(12, 1))


@pytest.mark.long
async def test_two_hundred_random_bursts() -> None:
    await both_ways(bursts(200, 2))


async def test_a_digit_that_was_taken_back_stays_away() -> None:
    app, job = bench_app(samples.asking("number"))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "F1 help" in screen_text(app))
        type_at_once(app, ["1", "2", "backspace", "3", "enter"])
        await until(pilot, lambda: job.desk.posted)
        assert job.desk.posted == [say.Answer("13")]


async def test_what_a_figure_does_not_take_is_said() -> None:
    app, _ = bench_app(samples.asking("number"))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "F1 help" in screen_text(app))
        type_at_once(app, ["1", "x", "2"])
        await until(pilot, lambda: "“x” was ignored" in screen_text(app))
        assert app.screen.query_one(Input).value == "12"


async def test_the_key_that_stops_sound_drops_what_was_typed_before_it() -> None:
    app, job = bench_app(samples.cleaning())
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "F1 help" in screen_text(app))
        type_at_once(app, ["1", "2", "3", "f9"])
        await until(pilot, lambda: say.StopSound() in job.desk.posted)
        assert job.desk.posted == [say.Tick(0), say.StopSound()]
        assert isinstance(app.screen, BenchScreen)
