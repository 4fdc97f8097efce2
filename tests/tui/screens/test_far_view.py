from __future__ import annotations

from dataclasses import replace

from bench.procedure.state.snapshot import Snapshot
from bench.tui.screens.far_view import far_lines, gauge_shown
from bench.tui.screens.large_letters import large_words
from tests.tui import samples
from tests.tui.screen_driver import bench_app, says, screen_text, texts, until


def test_letters_are_large_where_they_have_room_and_plain_where_not() -> None:
    assert large_words("IT", 12, 4) == [
        " ▀█▀  ▀▀█▀▀",
        "  █     █",
        "  █     █",
        " ▀▀▀    ▀",
    ]
    assert large_words("Clean heads and guides", 30, 8) == ["Clean heads and guides", ""]
    assert large_words("a b c d e f", 6, 3) == ["a b c", "d e f"]
    assert len(large_words("Clean heads, capstan and guides with a fresh swab.", 160, 40)) == 8


def test_the_gauge_is_that_of_the_picked_trimmer_or_the_furthest_out() -> None:
    shown = samples.adjusting(-12.4, -13.5)
    assert [getattr(gauge_shown(shown, n), "channel", "") for n in (0, 1)] == ["left", "right"]
    assert getattr(gauge_shown(replace(shown, trimmers=()), 0), "channel", "") == "right"
    assert gauge_shown(samples.cleaning(), 0) is None


def test_a_figure_has_all_the_height_there_is() -> None:
    small, large = (texts(far_lines(samples.adjusting(), 0, w, h)) for w, h in ((78, 17), (158, 36)))
    for lines, height in ((small, 17), (large, 36)):
        assert len(lines) <= height
    assert sum("███" in line for line in large) > sum("███" in line for line in small)


def test_cautions_come_before_the_instruction_and_leave_it_room() -> None:
    """Common practice, no source: what warns of a hazard is read before what brings it about."""
    shown = samples.cleaning()
    large = texts(far_lines(shown, 0, 158, 36))
    cautions = [line for line in large if line.startswith("▲")]
    assert [line.partition(":")[0] for line in cautions] == ["▲ Solvent", "▲ Moving parts"]
    assert large.index(cautions[-1]) < min(n for n, line in enumerate(large) if "▀" in line)
    small = texts(far_lines(shown, 0, 60, 6))
    assert small[0] == "▲ Solvent, moving parts: w shows the cautions"
    assert any(line.startswith("Clean heads, capstan") for line in small)


async def test_one_key_makes_it_large_and_small_again() -> None:
    shown: Snapshot = samples.adjusting()
    app, _ = bench_app(shown)
    async with app.run_test(size=(80, 24)) as pilot:
        text = await says(pilot, "low ─")
        await pilot.press("f")
        await until(pilot, lambda: "low ─" not in screen_text(app))
        assert "raise by 0.9 dB" in screen_text(app)
        await pilot.press("f")
        await until(pilot, lambda: screen_text(app) == text)
