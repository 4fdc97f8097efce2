from __future__ import annotations

from dataclasses import replace

import pytest

from bench.procedure.state.snapshot import Snapshot
from bench.tui.screens.far_view import far_lines, gauge_shown
from bench.tui.screens.large_letters import large_words
from tests.tui import samples
from tests.tui.screen_driver import bench_app, says, screen_text, texts, until


def test_letters_are_as_large_as_they_have_room_and_plain_where_none_fit() -> None:
    halves = [
        " ▀█▀  ▀▀█▀▀",
        "  █     █",
        "  █     █",
        " ▀▀▀    ▀",
    ]
    assert large_words("IT", 12, 4) == halves
    assert large_words("IT", 12, 5) == [*halves, ""]
    assert large_words("IT", 24, 8)[0] == "  ██████    ██████████"
    assert large_words("IT", 6, 4) == ["▝▛ ▀▛▘", " ▌  ▌", " ▌  ▌", "▝▀  ▘"]
    assert large_words("IT", 6, 2) == ["⠈⡏ ⠉⡏⠁", "⠠⠧  ⠇"]
    assert large_words("IT", 5, 2) == ["IT", ""]
    assert large_words("a b c d e f", 5, 3) == ["a b c", "d e f"]
    assert large_words("", 80, 20) == []


def test_no_word_is_broken_to_be_larger() -> None:
    assert len(large_words("demagnetise", 66, 8)) == 5
    assert len(large_words("demagnetise", 65, 8)) == 5
    assert large_words("demagnetise", 65, 4)[0].startswith("▛▚ ")


LARGE = [
    (samples.cleaning(), (100, 30)),
    (samples.cleaning(), (160, 45)),
    (samples.listening(), (80, 24)),
    (samples.listening(), (160, 45)),
    (samples.fluttering(), (80, 24)),
]


@pytest.mark.parametrize(("shown", "size"), LARGE)
async def test_instructions_of_text_and_of_listening_are_larger_than_plain_letters(
    shown: Snapshot, size: tuple[int, int]
) -> None:
    app, _ = bench_app(shown)
    async with app.run_test(size=size) as pilot:
        assert shown.step is not None
        first = " ".join(shown.step.do.split()[:2])
        await says(pilot, first)
        await pilot.press("f")
        await until(pilot, lambda: first not in screen_text(app))
        large = [line for line in screen_text(app).splitlines() if set(line) & set("█▌⡇")]
        assert len(large) >= 4


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
        assert large_words("raise by 0.9 dB", 78, 4)[0] in screen_text(app)
        await pilot.press("f")
        await until(pilot, lambda: screen_text(app) == text)
