from __future__ import annotations

from dataclasses import replace

import pytest

from bench.measure.reading import NoReading
from bench.tui.widgets.gauge import gauge_brief, gauge_lines, moves_away
from bench.tui.widgets.line_widget import line_width
from tests.tui import samples
from tests.tui.screen_driver import texts


def test_a_level_that_must_rise() -> None:
    gauge = samples.gauge(-12.9, "left", trend="rising", history=())
    assert texts(gauge_lines(gauge, 39, 10)) == [
        "left replay level  dBFS           ✗ out",
        "         ██ █████▄    ▄████▄       ▄",
        "         ██     ██    ██  ██      ▄█▄",
        "████     ██ ██████    ██████     ▄███▄",
        "         ██ ██            ██    ▀▀███▀▀",
        "         ██ ▀█████ ██ █████▀      ███",
        "raise by 0.9 dB                ↗ rising",
        "             ▼",
        "low ──────────┣━━━╋━━━┫────────── high",
        "target −12 ± 0.5 dBFS  read to ± 0.04",
    ]


def test_a_level_that_must_fall_shows_the_other_arrow() -> None:
    lines = texts(gauge_lines(samples.gauge(-11.0), 39, 10))
    assert lines[1].endswith("  ███")
    assert lines[5].endswith("   ▀")
    assert lines[6].startswith("lower by 1.0 dB")


def test_in_shows_a_tick_and_how_long_it_held() -> None:
    lines = texts(gauge_lines(samples.gauge(-12.1, held_s=4.2), 39, 10))
    assert lines[0].endswith("✓ in")
    assert lines[1].endswith("     ▄▄")
    assert lines[6] == "hold                         steady 4 s"


def test_too_close_to_call_is_said_in_words_and_shape() -> None:
    lines = texts(gauge_lines(samples.gauge(-12.52), 39, 10))
    assert lines[0] == "left replay level … ~ too close to call"
    assert lines[3].endswith("█▀▀█▄▄█")


def test_no_reading_says_why_where_the_figures_would_be() -> None:
    lines = texts(gauge_lines(samples.gauge(None), 39, 10))
    assert lines[0].endswith("– no reading")
    assert lines[2:4] == ["  no reading, because the tone is not", "  steady"]
    assert lines[6] == ""
    assert not any("█" in line for line in lines)


def test_a_turn_the_wrong_way_is_said() -> None:
    assert "↘ falling, away" in texts(gauge_lines(samples.gauge(-12.9, trend="falling"), 39, 10))[6]
    assert texts(gauge_lines(samples.gauge(-12.9, trend="rising"), 39, 10))[6].endswith("↗ rising")
    assert moves_away(samples.gauge(-11.0, trend="rising"))
    assert not moves_away(samples.gauge(-12.1, trend="falling"))
    assert not moves_away(samples.gauge(None, trend="falling"))


def test_trouble_is_said_on_the_gauge() -> None:
    assert "! clipping" in texts(gauge_lines(samples.gauge(-12.9), 39, 10, ("clipping", "")))[6]


def test_a_bound_is_said() -> None:
    gauge = replace(samples.gauge(-12.9), reading=samples.reading(-12.9, bound="at least"))
    assert "at least" in texts(gauge_lines(gauge, 60, 10))[9]


@pytest.mark.parametrize(("width", "height", "rows"), [(39, 14, 5), (39, 40, 5), (48, 24, 7), (55, 36, 9), (78, 18, 7)])
def test_figures_grow_with_the_room(width: int, height: int, rows: int) -> None:
    lines = gauge_lines(samples.gauge(-12.9), width, height)
    solid = [n for n, line in enumerate(texts(lines)) if "██" in line]
    assert solid[-1] - solid[0] + 1 == rows
    assert len(lines) <= height
    assert all(line_width(line) <= width for line in lines)


@pytest.mark.parametrize("value", [-1234.5, 123456789.0, -0.04])
def test_long_figures_stay_in_their_width(value: float) -> None:
    assert all(line_width(line) <= 39 for line in gauge_lines(samples.gauge(value), 39, 14))


def test_a_gauge_in_one_line() -> None:
    line = "".join(text for text, _ in gauge_brief(samples.gauge(-12.9), 50))
    assert line == "left replay level  −12.9 dBFS                ✗ out"
    missing = replace(samples.gauge(-12.9), reading=NoReading("level", "left", "silence"))
    assert "no reading" in "".join(text for text, _ in gauge_brief(missing, 50))


def test_a_turn_is_said_once() -> None:
    """In rounds the turn is all that there is to say."""
    shown = texts(gauge_lines(samples.gauge(-12.9, direction="", turn=10.0), 44, 12))
    assert [line.split("  ")[0] for line in shown if "turn" in line] == ["turn 10° clockwise"]


def test_a_turn_is_whole_where_there_is_little_room() -> None:
    away = "the other way: lower by 1.5 dB"
    for width, said in (
        (47, f"{away}  turn −24°"),
        (52, f"{away}  turn −24° → steady"),
        (70, f"{away}  turn 24° anticlockwise"),
    ):
        shown = texts(gauge_lines(samples.gauge(-10.5, direction=away, turn=-24.0, trend="steady"), width, 12))
        (line,) = [line for line in shown if "turn" in line]
        assert " ".join(line.split()).startswith(" ".join(said.split()))
        assert "…" not in line
