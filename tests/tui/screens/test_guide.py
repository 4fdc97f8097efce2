"""The audible guide is off until it is asked for, cautioned, follows the gauge, and ends when sound is stopped."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.problem import Problem
from bench.tui.screens.guide import off_in_tolerances
from tests.tui import samples
from tests.tui.screen_driver import GuideHeard, bench_app, says, screen_text, until


def test_what_sounds_is_the_gauge_that_is_turned() -> None:
    seen = samples.adjusting()
    left, right = seen.gauges
    assert left.off is not None
    assert right.off is not None
    assert left.verdict.tolerance == 0.5
    assert off_in_tolerances(seen, 0) == pytest.approx(left.off / 0.5)
    assert off_in_tolerances(seen, 1) == pytest.approx(right.off / 0.5)
    assert off_in_tolerances(replace(seen, held=True), 0) is None
    assert off_in_tolerances(samples.cleaning(), 0) is None
    assert off_in_tolerances(None, 0) is None


@pytest.mark.parametrize("end", ["u", "s", "f9", "leave"])
async def test_it_sounds_after_a_caution_and_ends_at_once(end: str) -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=(80, 24)) as pilot:
        await says(pilot, "F1 help")
        assert not job.guides
        await pilot.press("u")
        await says(pilot, "The guide sounds on this computer's own output")
        assert not job.guides
        await pilot.press("y")
        await until(pilot, lambda: job.guides)
        await until(pilot, lambda: job.guides[0].offs)
        assert job.guides[0].offs[-1] == pytest.approx(off_in_tolerances(samples.adjusting(), 0))
        if end != "leave":
            await pilot.press(end)
            await until(pilot, lambda: job.guides[0].closed)
    assert job.guides[0].closed


async def test_where_it_has_no_output_of_its_own_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    app, job = bench_app(samples.adjusting())

    def refused() -> GuideHeard:
        raise Problem("the guide stays silent: the only output leads to the machine")

    monkeypatch.setattr(job, "audible_guide", refused)
    async with app.run_test(size=(80, 24)) as pilot:
        await says(pilot, "F1 help")
        await pilot.press("u", "y")
        await says(pilot, "the guide stays silent")
        await pilot.press("q")
        await until(pilot, lambda: "F1 help" in screen_text(app))
