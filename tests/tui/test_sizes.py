from __future__ import annotations

from collections.abc import Callable

import pytest
from textual.widget import Widget

from bench.procedure.state.snapshot import Snapshot
from tests.tui import samples
from tests.tui.screen_driver import bench_app, says, screen_text, show, until

FACES: dict[str, Callable[[], Snapshot]] = {
    "adjusting": samples.adjusting,
    "azimuth": samples.azimuth,
    "listening": samples.listening,
    "cleaning": samples.cleaning,
    "choice": lambda: samples.asking("choice"),
}


@pytest.mark.parametrize("size", [(80, 24), (100, 30), (120, 36), (140, 40), (160, 45), (200, 60)])
@pytest.mark.parametrize("panel", FACES)
async def test_every_face_works_whole(panel: str, size: tuple[int, int]) -> None:
    snapshot: Snapshot = FACES[panel]()
    app, _ = bench_app(snapshot)
    async with app.run_test(size=size) as pilot:
        text = await says(pilot, "F1 help")
        lines = text.splitlines()
        assert len(lines) == size[1]
        assert all(len(line) <= size[0] for line in lines)
        for words in _must_be_there(snapshot):
            assert words in text
        for widget in app.screen.walk_children(Widget):
            if widget.display and widget.region:
                assert app.screen.region.contains_region(widget.region) or not widget.is_on_screen, widget


def _must_be_there(snapshot: Snapshot) -> list[str]:
    out = ["Lanternhill front-room", "4.76 cm/s (1⅞ ips)", "250 nWb/m (DIN)", "peak dBFS", "of 24", "s stop sound"]
    step = snapshot.step
    assert step is not None
    out += [step.title, step.do.split(".")[0][:30], *(c.say[:20] for c in step.cautions)]
    for gauge in snapshot.gauges:
        assert gauge.verdict is not None
        out += [gauge.label, gauge.direction, gauge.verdict.word, "target", "low ", " high", "██", "┤"]
    if snapshot.tones:
        out += ["tones", "6.3 kHz", "dB off target"]
    out += [check.text[:12] for check in snapshot.checks] + list(snapshot.prompt.choices)
    out += [t.name for t in snapshot.trimmers]
    return [*out, snapshot.prompt.text[:40]]


async def test_too_small_is_one_sentence_and_goes_by_itself() -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=(60, 20)) as pilot:
        text = await says(pilot, "too small")
        said = " ".join(text.split())
        assert said == "This terminal is too small (60×20): make it at least 80×24. s stops all sound."
        await until(pilot, lambda: job.made is not None)
        await pilot.resize_terminal(79, 24)
        await says(pilot, "(79×24)")
        await pilot.resize_terminal(80, 23)
        await says(pilot, "(80×23)")
        await pilot.resize_terminal(80, 24)
        await says(pilot, "raise by 0.9 dB")
        await pilot.resize_terminal(60, 20)
        await says(pilot, "too small")
        await pilot.resize_terminal(150, 40)
        text = await show(pilot, job, samples.adjusting(-12.8), "raise by 0.8 dB")
        assert "why  A noise-reduction" in screen_text(app)


async def test_a_sheet_that_is_open_outlives_a_small_moment() -> None:
    app, _ = bench_app(samples.adjusting())
    async with app.run_test(size=(80, 24)) as pilot:
        await says(pilot, "raise by")
        await pilot.press("n", *"hum")
        await pilot.resize_terminal(60, 20)
        await says(pilot, "too small")
        await pilot.resize_terminal(80, 24)
        await says(pilot, "Note for the report")
        assert "hum" in screen_text(app)
