from __future__ import annotations

from bench.practice.facts import TrimmerPosition
from bench.procedure.state.snapshot import CheckRow
from bench.tui.widgets.choice_lists import check_lines, choice_lines, timer_lines, trimmer_line
from tests.tui import samples
from tests.tui.screen_driver import texts


def test_a_checklist_shows_what_is_ticked() -> None:
    rows = (CheckRow("Erase head", ticked=True), CheckRow("Capstan", ticked=False))
    assert texts(check_lines(rows, 40, 10)) == [" 1 ✓  Erase head", " 2 □  Capstan"]


def test_long_lines_of_a_checklist_wrap_where_there_is_room() -> None:
    rows = (CheckRow("Pinch roller, with what its maker recommends", ticked=False),)
    assert texts(check_lines(rows, 30, 10)) == [" 1 □  Pinch roller, with what", "      its maker recommends"]
    assert texts(check_lines(rows, 30, 1)) == [" 1 □  Pinch roller, with …"]


def test_choices_mark_the_picked_one_and_follow_it() -> None:
    assert texts(choice_lines(("new", "shiny", "cracked"), 1, 40, 10)) == [" 1   new", " 2 ▸ shiny", " 3   cracked"]
    many = tuple(f"choice {n}" for n in range(30))
    lines = texts(choice_lines(many, 20, 40, 5))
    assert len(lines) == 5
    assert "   ▸ choice 20" in lines
    assert (lines[0], lines[-1]) == ("     choice 18  ↑ 18 more", "     choice 22  ↓ 7 more")


def test_the_picked_trimmer_is_marked() -> None:
    line = trimmer_line(samples.TRIMMERS, 1, 78)
    assert texts([line]) == ["turn  1 replay level left −24°   2 replay level right +12°"]
    assert ("replay level right", "strong") in line


def test_a_trimmer_at_its_end_says_so() -> None:
    line = trimmer_line((TrimmerPosition("speed", 150.0), TrimmerPosition("bias left", -149.0)), 0, 78)
    assert texts([line]) == ["turn  1 speed +150°, at its end   2 bias left −149°"]


def test_a_timer_counts_in_large_figures() -> None:
    assert texts(timer_lines(65.0))[0] == "    ██    ▄████▄ ▄█████"
