from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from bench.words.sentences import NO_BREAK, inert, listed


def test_lists() -> None:
    assert [listed(x) for x in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]


@given(st.text())
def test_nothing_in_inert_text_acts(text: str) -> None:
    assert all(c.isprintable() or c == NO_BREAK for c in inert(text))
    assert len(inert(text)) == len(text)


def test_inert_text_keeps_words() -> None:
    assert inert("µ × “so”\tand\nso\x1b[2J\u202e") == "µ × “so” and so�[2J�"
