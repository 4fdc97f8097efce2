from __future__ import annotations

import pytest

from bench.tui.widgets.large_digits import ABOUT, CROSS, DOWN, TICK, UP, large_text


def test_figures_of_five_rows() -> None:
    assert large_text("−1.2", 5) == [
        "         ██    █████▄",
        "         ██        ██",
        "████     ██    ██████",
        "         ██    ██    ",
        "         ██ ██ ▀█████",
    ]


@pytest.mark.parametrize("rows", [5, 7, 9])
def test_every_sign_has_all_rows_and_digits_one_width(rows: int) -> None:
    widths = {len(line) for digit in "0123456789" for line in large_text(digit, rows)}
    assert widths == {rows + 1}
    for sign in "−+.:– ":
        drawn = large_text(sign, rows)
        assert len(drawn) == rows
        assert len({len(line) for line in drawn}) == 1


def test_no_two_digits_look_alike() -> None:
    assert len({tuple(large_text(d, 5)) for d in "0123456789"}) == 10


def test_shapes_are_distinct_and_square() -> None:
    shapes = [TICK, CROSS, UP, DOWN, ABOUT]
    assert len({tuple(s) for s in shapes}) == 5
    assert {len(line) for s in shapes for line in s} == {7}
    assert {len(s) for s in shapes} == {5}
