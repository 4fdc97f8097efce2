"""Whole screens as text, reviewed as diffs. TAPEBENCH_GOLDENS=write takes new ones after a look at them."""

from __future__ import annotations

import pytest

from bench.procedure.snapshot import Snapshot
from tests.tui import samples
from tests.tui.stage import bench_app, check_golden, says, screen_text

SCREENS: dict[str, Snapshot] = {
    "adjusting": samples.adjusting(),
    "hazards": samples.beside_hazards(),
    "azimuth": samples.azimuth(),
    "no-reading": samples.adjusting(None, -12.1),
    "listening": samples.listening(8),
    "listened": samples.listening(12),
    "cleaning": samples.cleaning(754.0),
    "number": samples.asking("number"),
    "choice": samples.asking("choice"),
    "reason": samples.asking("reason"),
    "interlock": samples.asking("confirm"),
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


@pytest.mark.parametrize(
    ("key", "name", "words"), [("w", "why", "read on"), ("f1", "keys", "read on"), ("n", "note", "goes back")]
)
async def test_sheets(key: str, name: str, words: str) -> None:
    app, _ = bench_app(samples.adjusting())
    async with app.run_test(size=(80, 24)) as pilot:
        await says(pilot, "raise by")
        await pilot.press(key)
        await says(pilot, words)
        await pilot.pause(0.1)
        check_golden(f"{name}-80x24", screen_text(app))
