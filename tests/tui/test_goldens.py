"""Whole screens as text, reviewed as diffs. TAPEBENCH_GOLDENS=write takes new ones after a look at them."""

from __future__ import annotations

import pytest

from bench.procedure.kinds.record.passage import REWIND
from bench.procedure.state.snapshot import Prompt, Snapshot
from tests.tui import samples
from tests.tui.screen_driver import bench_app, check_golden, says, screen_text

SCREENS: dict[str, Snapshot] = {
    "adjusting": samples.adjusting(),
    "hazards": samples.beside_hazards(),
    "azimuth": samples.azimuth(),
    "no-reading": samples.adjusting(None, -12.1),
    "bias": samples.biased(),
    "bias-rising": samples.biased(passed=False),
    "flutter": samples.fluttering(),
    "question": samples.question(),
    "answered": samples.question(answered=True),
    "left-response": samples.left_response(),
    "hum": samples.in_trouble("hum"),
    "listening": samples.listening(8),
    "listened": samples.listening(12),
    "rewinding": samples.listening(0, prompt=Prompt("wait", REWIND, by_hand=True)),
    "recording": samples.listening(0, prompt=Prompt("wait", "Tones are being sent and recorded", left_s=38)),
    "cleaning": samples.cleaning(754.0),
    "number": samples.asking("number"),
    "choice": samples.asking("choice"),
    "reason": samples.asking("reason"),
    "interlock": samples.asking("confirm"),
    "ranked": samples.ranked(),
    "last-result": samples.measured(samples.cleaning()),
    "ended-in": samples.ended(0),
    "ended-out": samples.ended(1),
}


@pytest.mark.parametrize("size", [(80, 24), (120, 36)])
@pytest.mark.parametrize("name", SCREENS)
async def test_screens(name: str, size: tuple[int, int]) -> None:
    app, _ = bench_app(SCREENS[name])
    async with app.run_test(size=size) as pilot:
        await says(pilot, "report.html" if name.startswith("ended") else "F1 help")
        await pilot.pause(0.1)
        check_golden(f"{name}-{size[0]}x{size[1]}", screen_text(app))


@pytest.mark.parametrize("size", [(80, 24), (120, 36)])
@pytest.mark.parametrize(
    ("key", "name", "words"),
    [
        ("w", "why", "read on"),
        ("f1", "keys", "read on"),
        ("n", "note", "goes back"),
        ("i", "hint", "next hint"),
        ("q", "leaving", "y leave"),
    ],
)
async def test_sheets(key: str, name: str, words: str, size: tuple[int, int]) -> None:
    hints = ("What does level mean to a decoder?", "Is the figure steady?", "Turn by a degree and wait.")
    app, _ = bench_app(samples.adjusting(step=samples.step(hints=hints)))
    async with app.run_test(size=size) as pilot:
        await says(pilot, "raise by")
        await pilot.press(key)
        await says(pilot, words)
        await pilot.pause(0.1)
        check_golden(f"{name}-{size[0]}x{size[1]}", screen_text(app))


@pytest.mark.parametrize("size", [(80, 24), (160, 45)])
async def test_the_results_so_far(size: tuple[int, int]) -> None:
    app, _ = bench_app(samples.measured(samples.cleaning()))
    async with app.run_test(size=size) as pilot:
        await says(pilot, "F1 help")
        await pilot.press("v")
        await says(pilot, "Results so far")
        await pilot.pause(0.1)
        check_golden(f"results-{size[0]}x{size[1]}", screen_text(app))


@pytest.mark.parametrize("size", [(80, 24), (120, 36)])
async def test_the_count_down(monkeypatch: pytest.MonkeyPatch, size: tuple[int, int]) -> None:
    monkeypatch.setattr("bench.tui.screens.countdown.CountDown.beat_s", 3600.0)
    prompt = Prompt("go-on", "Tape in use loaded and recording: start the tones", sounds=True)
    app, _ = bench_app(samples.listening(0, prompt=prompt))
    async with app.run_test(size=size) as pilot:
        await says(pilot, "start the tones")
        await pilot.press("space")
        text = await says(pilot, "Tones start in")
        check_golden(f"count-down-{size[0]}x{size[1]}", text)


@pytest.mark.parametrize("size", [(80, 24), (120, 36)])
async def test_cautions_that_were_read(monkeypatch: pytest.MonkeyPatch, size: tuple[int, int]) -> None:
    monkeypatch.setattr("bench.tui.screens.bench_card.caution_reading_s", lambda parts: 0.2)
    app, _ = bench_app(samples.beside_hazards())
    async with app.run_test(size=size) as pilot:
        await says(pilot, "F1 help")
        await pilot.pause(0.5)
        await says(pilot, "w shows the cautions" if size == (80, 24) else "Sleeves and hair back")
        check_golden(f"hazards-read-{size[0]}x{size[1]}", screen_text(app))
