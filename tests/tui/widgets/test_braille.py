from __future__ import annotations

import numpy as np

from bench.tui.widgets.braille import BrailleCanvas
from tests.tui.screen_driver import texts


def test_dots_fall_where_unicode_has_them() -> None:
    # Unicode, block "Braille Patterns": dot 1 is bit 0 ... dot 8 is bit 7; dots 1 2 3 7 go down the left side.
    bits = {(0, 0): 1, (1, 0): 2, (2, 0): 4, (3, 0): 64, (0, 1): 8, (1, 1): 16, (2, 1): 32, (3, 1): 128}
    for (row, column), bit in bits.items():
        dots = BrailleCanvas(1, 1)
        dots.layer("trace")[row, column] = True
        assert texts(dots.lines()) == [chr(0x2800 + bit)]


def test_a_curve_joins_its_points_and_is_held_at_the_edges() -> None:
    dots = BrailleCanvas(2, 1)
    dots.curve("trace", np.array([0, 3]), np.array([0, 3]))
    assert texts(dots.lines()) == ["⠑⢄"]
    dots = BrailleCanvas(2, 1)
    dots.curve("trace", np.array([-5, 9]), np.array([-5, -5]))
    assert texts(dots.lines()) == ["⠉⠉"]


def test_the_upper_layer_gives_the_colour() -> None:
    dots = BrailleCanvas(3, 1)
    dots.level("band", 0, every=2)
    dots.layer("trace")[3, 2:4] = True
    assert dots.lines() == [[("⠁", "band"), ("⣁", "trace"), ("⠁", "band")]]


def test_a_level_off_the_sheet_is_not_drawn() -> None:
    dots = BrailleCanvas(2, 1)
    dots.level("band", 9)
    assert texts(dots.lines()) == [""]
