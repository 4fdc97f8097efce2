"""The wording of problems."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.procedure.load.file_problems import (
    Finding,
    Mistake,
    did_you_mean,
    hidden_character,
    key_text,
    visible,
    without_echoes,
)


def test_a_finding_is_one_line_with_file_line_key_and_remedy() -> None:
    finding = Finding(Path("a.toml"), 7, "step 2, title", "missing", "add it")
    assert finding.sentence == "a.toml:7: step 2, title: missing; add it"
    assert Finding(Path("a.toml"), None, "", "is empty", "fill it").sentence == "a.toml: is empty; fill it"
    assert "\n" not in Finding(Path("a\nb.toml"), 1, "k", "m", "r").sentence


def test_a_place_is_counted_as_people_count() -> None:
    assert key_text(("step", 2, "sends", 0, "hz")) == "step 3, sends 1, hz"
    assert key_text(("targets", "replay_level", "unit")) == "targets.replay_level.unit"
    assert key_text(("step", 0)) == "step 1"
    assert key_text(()) == ""


def test_near_words_are_offered_and_far_ones_listed() -> None:
    assert did_you_mean("titel", ["title", "do"]) == 'did you mean "title"?'
    assert did_you_mean("xyz", ["title", "do"]) == 'there is "title", "do"'
    assert did_you_mean("xyz", []) == "there is none here"


@pytest.mark.parametrize(
    "text", ["\x1b[31m", "a\x00", "\x9b31m", "\x7f", "a\u202eb", "\u2066x", "\u200bx", "\ufeffx", "\u2028", "\ue000"]
)
def test_what_acts_on_a_terminal_or_hides_is_found_and_not_printed(text: str) -> None:
    assert hidden_character(text) is not None
    assert visible(text).isprintable()
    assert hidden_character(visible(text)) is None


def test_the_trade_writes_with_its_own_signs() -> None:
    assert hidden_character("±0.5 dB, 120 µs, −20 dB × 2, Größe, 音, naïve\tx\ny") is None


def test_what_follows_from_a_wrong_key_is_not_told() -> None:
    bad = Mistake(("step", 0, "sends", 1, "hz"), "too small", "…")
    echo = Mistake(("step", 0, "plays"), "missing", "…", ("plays", "sends"))
    elsewhere = Mistake(("step", 1, "plays"), "missing", "…", ("plays", "sends"))
    assert without_echoes([bad, echo, elsewhere, elsewhere], [bad]) == [bad, elsewhere]
