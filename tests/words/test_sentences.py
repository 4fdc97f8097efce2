from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from bench.words.sentences import NO_BREAK, all_are, counted, inert, listed


def test_lists() -> None:
    assert [listed(x) for x in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]


@given(st.text())
def test_nothing_in_inert_text_acts(text: str) -> None:
    assert all(c.isprintable() or c == NO_BREAK for c in inert(text))
    assert len(inert(text)) == len(text)


def test_inert_text_keeps_words() -> None:
    assert inert("µ × “so”\tand\nso\x1b[2J\u202e") == "µ × “so” and so�[2J�"


def test_counts_have_their_noun() -> None:
    assert [counted(n, "turn") for n in (0, 1, 2)] == ["0 turns", "1 turn", "2 turns"]
    assert [counted(n, "pass", "passes") for n in (1, 2)] == ["1 pass", "2 passes"]
    assert all_are(1, "judged reading") == "The judged reading is"
    assert all_are(3, "judged reading", " at 2 steps") == "All 3 judged readings at 2 steps are"
