from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from bench.tui.widgets.scale import band_lines, part_of
from tests.tui.screen_driver import texts


def test_the_pointer_stands_in_the_band() -> None:
    assert texts(band_lines(0.0, 0.5, 39, "in")) == [
        "                  ▼",
        "low ──────────┣━━━╋━━━┫────────── high",
    ]


def test_far_off_it_stands_at_the_end() -> None:
    pointer, scale = texts(band_lines(900.0, 0.5, 39, "out"))
    assert pointer.index("▼") == scale.index(" high") - 1
    pointer, scale = texts(band_lines(-900.0, 0.5, 39, "out"))
    assert pointer.index("▼") == scale.index("─")


def test_without_a_reading_there_is_no_pointer() -> None:
    assert texts(band_lines(None, 0.5, 39, ""))[0] == ""


@given(st.floats(-100, 100), st.floats(0.01, 10), st.integers(35, 90))
def test_the_pointer_never_contradicts_the_band(error: float, tolerance: float, width: int) -> None:
    pointer, scale = texts(band_lines(error, tolerance, width, "in"))
    at = pointer.index("▼")
    left, right = scale.index("┣"), scale.index("┫")
    if abs(error) < tolerance:
        assert left < at < right
    elif abs(error) > tolerance:
        assert (at < left) == (error < 0)
        assert (at > right) == (error > 0)


@given(st.floats(-50, 50), st.floats(-50, 50))
def test_the_scale_keeps_the_order(a: float, b: float) -> None:
    assert (part_of(a, 0.5) <= part_of(b, 0.5)) == (a <= b) or part_of(a, 0.5) == part_of(b, 0.5)
