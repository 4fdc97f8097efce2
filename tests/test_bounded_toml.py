"""TOML from outside is within bounds, or refused at once."""

from __future__ import annotations

import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.bounded_toml import OutOfBoundsError, clean, cleaned, parse


@pytest.mark.parametrize(
    ("text", "said", "at"),
    [
        ("a." * 5000 + "b = 1", "a key has more than 16 parts", ()),
        ("[" + "a." * 5000 + "b]", "a key has more than 16 parts", ()),
        ('x = { "a" . ' + "b." * 40 + "c = 1 }", "a key has more than 16 parts", ()),
        ("format = 0x" + "f" * 5000, "is too large a number", ("format",)),
        ("x = [1, -1e16]", "is too large a number", ("x", 1)),
        ("x = " + "[" * 5000 + "]" * 5000, "nested too deep", ()),
        ("[a]\nd = 0001-01-01", "is not a date from 1970 to 2200", ("a", "d")),
        ("d = 9999-12-31T23:59:59Z", "is not a date from 1970 to 2200", ("d",)),
    ],
    ids=range(8),
)
def test_what_no_file_needs_is_refused_at_once(text: str, said: str, at: tuple[str | int, ...]) -> None:
    before = time.process_time()
    with pytest.raises(OutOfBoundsError, match=said) as raised:
        parse(text)
    assert raised.value.at == at
    assert time.process_time() - before < 1.0


def test_what_files_need_is_read() -> None:
    text = '[a.b.c]\nx = "one.two.three.four.five.six.seven.eight.nine.ten.e.f.g.h.i.j.k.l"\ny = -1e15\nz = [inf, true]'
    inner = parse(text)["a"]["b"]["c"]
    assert (inner["y"], inner["z"]) == (-1e15, [float("inf"), True])


def test_text_that_acts_is_replaced() -> None:
    assert clean("é\ttwo\nlines, a family name: 李") == "é\ttwo\nlines, a family name: 李"
    assert clean("\x1b[31m\x9b2J\u202e\ud800\x00") == "�[31m�2J���"
    assert cleaned({"a\x1b": ["\x07", 1, {"b": "\u2028"}]}) == {"a�": ["�", 1, {"b": "�"}]}


@given(st.text())
def test_clean_text_has_no_control_characters(text: str) -> None:
    found = clean(text)
    assert len(found) == len(text.replace("\r\n", "\n"))
    assert not any((c < " " and c not in "\t\n") or "\x7f" <= c <= "\x9f" for c in found)
    assert clean(found) == found
