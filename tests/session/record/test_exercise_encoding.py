"""An exercise in a session's file cannot be read accidentally, and decodes to the same exercise."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.session.record.exercise_encoding import decode_exercise, encode_exercise
from bench.session.record.reader import read_session
from tests.session.record.test_migrate import FROZEN

SHEET = {"name": "Übung", "faults": ["azimuth-off"], "seed": 7, "dirty": True}


def test_it_comes_back_and_no_word_of_it_is_in_clear() -> None:
    text = encode_exercise(SHEET)
    assert decode_exercise(text) == SHEET
    assert "azimuth" not in text


@pytest.mark.parametrize("text", ["", "?", "e30", encode_exercise(SHEET)[:-3], "WzFd"])
def test_what_is_damaged_is_no_sheet(text: str) -> None:
    """The last is a list."""
    with pytest.raises(ValueError, match="encodes no exercise"):
        decode_exercise(text)


def test_a_session_whose_exercise_is_damaged_says_so_and_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    text = (FROZEN / "schema-3" / "session.toml").read_text(encoding="utf-8")
    (tmp_path / "session.toml").write_text(text.replace('["azimuth-off"]', '"not base64!"'), encoding="utf-8")
    assert "the exercise can't be decoded" in read_session(tmp_path).read_only
