"""The list of what can be chosen: long names beside what is said about them."""

from __future__ import annotations

import pytest

from bench.tui.choices import Option, Row
from bench.tui.widgets.job_form import choices_lines

ABOUT = ("As found, replay set to the reference tape, record set to the tape in use, and as left.",)


def _shown(width: int, *names: str) -> list[str]:
    row = Row("procedure", "procedure", tuple(Option(name, name, "2 h 20", ABOUT) for name in names))
    return ["".join(text for text, _ in line).rstrip() for line in choices_lines(row, width, 10)]


@pytest.mark.parametrize("width", [80, 100, 160])
def test_what_tells_two_names_apart_is_read_in_full(width: int) -> None:
    names = ("Line-up of a three-head cassette deck", "Line-up of a two-head cassette deck")
    lines = _shown(width, *names)
    assert all(name in line and "2 h 20" in line for name, line in zip(names, lines, strict=False))
    assert "As found" in lines[0]
    assert max(map(len, lines)) <= width


def test_a_name_longer_than_the_screen_leaves_room_for_what_is_said_about_it() -> None:
    lines = _shown(80, "A line-up " * 12)
    assert "…  2 h 20" in lines[0]
    assert " ".join(line[50:].strip() for line in lines).startswith(ABOUT[0])
