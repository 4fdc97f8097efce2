from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from bench.tui.text import cell, clip, plain, wrap

HOSTILE = [
    "\x1b[31mred\x1b]0;title\x07",
    "\x9b31m\x90q",
    "right \u202e left \u2066 isolate",
    "Z\u0301\u0302\u0303\u0304\u0305\u0306a",
    "👩‍👩‍👧‍👦 🇩🇪 👍🏽 1\ufe0f\u20e3",
    "\u200b\u200d\ufeff\u2028\u2029",
    "a\x00b\x08c\x7fd",
]


@pytest.mark.parametrize("text", HOSTILE)
def test_plain_leaves_only_what_is_visible_and_keeps_its_width(text: str) -> None:
    out = plain(text)
    assert out.isprintable()
    assert not any(unicodedata.category(c) in ("Cc", "Cf", "Co", "Cs") for c in out)
    assert "\u20e3" not in out
    assert cell_len(out) == sum(cell_len(c) for c in out)


@given(st.text(max_size=200))
def test_plain_is_printable_and_settles(text: str) -> None:
    out = plain(text)
    assert out.isprintable()
    assert plain(out) == out


def test_plain_says_what_it_took_away() -> None:
    assert plain("a\x1bb") == "a\N{REPLACEMENT CHARACTER}b"
    assert plain("one\ntwo\tthree") == "one two three"
    assert plain("e\u0301") == "é"
    assert plain("a\u0301\u0302\u0303\u0304") == "á\u0302\u0303"


def test_plain_cuts_what_is_endless() -> None:
    assert len(plain("x" * 10_000)) == 4001


@given(st.text(max_size=60), st.integers(0, 40), st.sampled_from(["left", "right", "centre"]))
def test_cell_has_its_width_whatever_the_text(text: str, width: int, align: str) -> None:
    assert cell_len(cell(text, width, align)) == width


def test_cell_clips_and_pads() -> None:
    assert cell("replay level", 8) == "replay… "
    assert cell("in", 6, "right") == "    in"
    assert cell("in", 6, "centre") == "  in  "
    assert cell("漢字漢字", 5) == "漢字…"


@given(st.text(max_size=200), st.integers(2, 40))
def test_wrapped_lines_fit(text: str, width: int) -> None:
    assert all(cell_len(line) <= width for line in wrap(text, width))


def test_wrap_breaks_between_words_and_inside_long_ones() -> None:
    assert wrap("set the replay level", 9) == ["set the", "replay", "level"]
    assert wrap("abcdefghij", 4) == ["abcd", "efgh", "ij"]
    assert wrap("  \n ", 9) == []


def test_clip_marks_what_was_left_out() -> None:
    assert clip(["one", "two", "three"], 2, 9) == ["one", "two …"]
    assert clip(["one", "twotwotwo"], 1, 9) == ["one …"]
    assert clip(["ninechars", "x"], 1, 9) == ["ninechar…"]
    assert clip(["one"], 2, 9) == ["one"]
    assert clip(["one"], 0, 9) == []
