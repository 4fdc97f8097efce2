"""The key that shows what is wrong, at any step."""

from __future__ import annotations

from bench.procedure.run import commands as say
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


async def test_the_suggested_test_starts_from_the_page() -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=(100, 30)) as pilot:
        await says(pilot, "F1 help")
        await pilot.press("d")
        await says(pilot, "make the test")
        await pilot.press("m")
        await says(pilot, "F1 help")
        assert job.desk.posted == [say.GoAside("hum", "hum")]


async def test_a_trainee_names_causes_before_they_are_shown_and_both_stand_side_by_side() -> None:
    app, job = bench_app(samples.adjusting())
    job.trainee = True
    async with app.run_test(size=(100, 30)) as pilot:
        await says(pilot, "F1 help")
        await pilot.press("space", "d")
        await says(pilot, "What do you think is wrong?")
        await pilot.press(*"belt", "enter")
        await says(pilot, "You said: belt")
        await says(pilot, "almost certainly, 98 %")
        assert job.desk.posted == [say.Note("thought to be wrong: belt")]


async def test_what_a_suggested_look_showed_is_asked() -> None:
    app, job = bench_app(samples.adjusting())
    job.suggested = say.Look("pinch-roller", seen=True, question="Turn the roller. Does it show: a flat?")
    async with app.run_test(size=(100, 30)) as pilot:
        await says(pilot, "F1 help")
        await pilot.press("d")
        await says(pilot, "make the test")
        await pilot.press("m")
        await says(pilot, "Turn the roller. Does it show: a flat? Type yes or no.")
        await pilot.press(*"no", "enter")
        await says(pilot, "F1 help")
        assert job.desk.posted == [say.Look("pinch-roller", seen=False)]
