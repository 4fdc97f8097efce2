"""The key that shows what is wrong, at any step."""

from __future__ import annotations

from tests.tui import samples
from tests.tui.screen_driver import bench_app, says


async def test_one_key_shows_the_causes_and_one_leads_back() -> None:
    app, _ = bench_app(samples.adjusting())
    async with app.run_test(size=(100, 30)) as pilot:
        await says(pilot, "F1 help")
        await pilot.press("d")
        await says(pilot, "almost certainly, 98 %")
        await pilot.press("q")
        await says(pilot, "F1 help")
