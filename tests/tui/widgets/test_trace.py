from __future__ import annotations

from bench.tui.widgets.line_widget import line_width
from bench.tui.widgets.trace import LABEL, trace_lines
from tests.tui.screen_driver import texts


def test_a_trace_that_comes_into_its_band() -> None:
    # Six tolerances below: asinh(2 * 6) / asinh(2 * 40) = 0.627 of half the height, dot row 15 of 0 to 19.
    history = tuple((float(t), -15.0 if t < 30 else -12.0) for t in range(61))
    assert texts(trace_lines(history, -12.0, 0.5, unit="dBFS", width=27, height=5)) == [
        "      │",
        " −11.5┤⡀⡀⡀⡀⡀⡀⡀⡀⡀⡀⡀⡀⡀⡀⡀⡀⡀⡀⡀⡀",
        "      │          ⡤⠤⠤⠤⠤⠤⠤⠤⠤⠤",
        " −12.5┤⣁⣁⣁⣁⣁⣁⣁⣁⣁⣱⠁⠁⠁⠁⠁⠁⠁⠁⠁⠁",
        "      │",
    ]


def test_only_the_last_minute_is_drawn() -> None:
    older, now = (0.0, -30.0), ((100.0, -12.0), (160.0, -12.0))
    drawn = trace_lines((older, *now), -12.0, 0.5, unit="dBFS", width=27, height=5)
    assert drawn == trace_lines(now, -12.0, 0.5, unit="dBFS", width=27, height=5)


def test_all_lines_have_their_width_and_an_empty_history_draws_only_the_band() -> None:
    lines = trace_lines((), 0.0, 2.0, unit="dB", width=40, height=6)
    assert {line_width(line) for line in lines} == {40}
    assert "⠒" not in "".join(texts(lines))


def test_without_a_target_it_is_drawn_around_what_there_is() -> None:
    history = ((0.0, 3.0), (1.0, 5.0))
    drawn = texts(trace_lines(history, None, None, unit="dB", width=27, height=4))
    assert all("┤" not in line for line in drawn)
    assert any(line[LABEL:].strip() for line in drawn)


def test_no_room_draws_nothing() -> None:
    assert trace_lines((), 0.0, 1.0, unit="dB", width=12, height=4) == []
    assert trace_lines((), 0.0, 1.0, unit="dB", width=40, height=0) == []
