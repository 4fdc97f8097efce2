"""At the end of an exercise the debrief covers the bench screen."""

from __future__ import annotations

from bench.tui.screens.debrief import DebriefDialog
from tests.tui import samples
from tests.tui.screen_driver import REPORT, bench_app, says, show

TOLD = (
    ("fault", "Worn gap: missed."),
    ("trimmer", "bias left: +2.10 dB off before, +0.10 dB after, turned 3 times: right."),
    ("again", "Worn gap: [b]treble[/b] falls ever faster towards the top."),
    ("end", "0 of 1 faults dealt with, 1 of 1 trimmers right."),
)


async def test_the_debrief_is_read_and_put_away() -> None:
    app, job = bench_app(samples.adjusting())
    job.debrief = TOLD
    async with app.run_test(size=(80, 24)) as pilot:
        await says(pilot, "Keep both channels")
        shown = await show(pilot, job, samples.ended(), "What was hidden")
        assert isinstance(app.screen, DebriefDialog)
        assert "[b]treble[/b]" in shown
        assert shown.index("What was hidden") < shown.index("The trimmers") < shown.index("Look at again")
        await pilot.press("space")
        await says(pilot, "2 steps are out: Replay response")


async def test_without_an_exercise_nothing_lies_over_the_end() -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=(80, 24)) as pilot:
        await says(pilot, "Keep both channels")
        await show(pilot, job, samples.ended(), REPORT[:20])
        assert not isinstance(app.screen, DebriefDialog)
