"""Causes at each visit, from the two worked sessions: the same deck, dirty both times."""

from __future__ import annotations

from pathlib import Path

from bench.session.compare.causes_over_visits import visit_lines

SESSIONS = Path(__file__).parents[3] / "sessions"


def test_dirt_that_was_cleaned_off_has_come_back() -> None:
    lines = visit_lines(sorted(p.parent for p in SESSIONS.glob("*lanternhill*/session.toml")))
    assert len(lines) == 3
    assert lines[1].startswith("20 November 2025  dirt on the ")
    assert lines[2].endswith("; it has come back")


def test_a_session_that_is_not_there_is_said(tmp_path: Path) -> None:
    assert str(tmp_path / "gone") in visit_lines([tmp_path / "gone"])[1]
