"""Line numbers, against lines counted by hand and against tomllib on any text it accepts."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from bench.procedure.load.file_problems import KeyPath
from bench.procedure.load.toml_lines import line_at, lines_of

TEXT = '''\
# a comment with [brackets] and = signs
format = 1
"quoted key" = "a # in text"
a.b.c = [1, 2,  # a comment
  3,
]
many = """
[not a table]
key = "\\""
"""
literal = \'\'\'
'''


def test_each_line_counted_by_hand() -> None:
    text = (
        TEXT
        + "[still] no '\n'''\n\n[table]\nx = { y = 1, z = [{ w = 2 }] }\n"
        + "[[step]]\nid = 'a'\n[step.targets]\nlevel = 1\n[[step]]\n[[step.cautions]]\nsay = 'b'\n[[step.cautions]]\n"
    )
    lines = lines_of(text)
    assert lines["format",] == 2
    assert lines["quoted key",] == 3
    assert lines["a", "b", "c"] == 4
    assert lines["a", "b", "c", 1] == 4
    assert lines["a", "b", "c", 2] == 5
    assert lines["many",] == 7
    assert lines["literal",] == 11
    assert lines["table",] == 15
    assert lines["table", "x", "z", 0, "w"] == 16
    assert lines["step", 0] == 17
    assert lines["step", 0, "id"] == 18
    assert lines["step", 0, "targets", "level"] == 20
    assert lines["step", 1] == 21
    assert lines["step", 1, "cautions", 0, "say"] == 23
    assert lines["step", 1, "cautions", 1] == 24
    assert ("not a table",) not in lines


def test_windows_line_ends_count_once() -> None:
    assert lines_of("a = 1\r\nb = 2\r\n")["b",] == 2


def test_a_missing_key_is_told_at_what_is_around_it() -> None:
    lines = lines_of("a = 1\n[[step]]\nid = 'x'\n")
    assert line_at(lines, ("step", 0, "title")) == 2
    assert line_at(lines, ("title",)) is None


def _places(value: Any, at: KeyPath = ()) -> Iterator[KeyPath]:
    if at:
        yield at
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _places(item, (*at, key))
    elif isinstance(value, list):
        for n, item in enumerate(value):
            yield from _places(item, (*at, n))


SCALARS = st.one_of(
    st.integers(-(2**62), 2**62),
    st.booleans(),
    st.floats(allow_nan=False),
    st.text(st.characters(exclude_categories=["Cs"])),
    st.dates(),
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=4),
    max_leaves=20,
)


@given(
    st.dictionaries(st.text(st.characters(exclude_categories=["Cs"]), max_size=6), VALUES, max_size=5), st.booleans()
)
def test_every_place_of_any_text_has_a_line(data: dict[str, Any], multiline: bool) -> None:
    text = tomli_w.dumps(data, multiline_strings=multiline)
    there = set(_places(tomllib.loads(text)))
    lines = lines_of(text)
    assert there <= set(lines)
    assert all(1 <= n <= text.count("\n") + 1 for n in lines.values())
