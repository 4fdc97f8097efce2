from __future__ import annotations

from bench.procedure.state.snapshot import Outcome
from bench.tui.widgets.large_digits import CROSS, TICK
from bench.tui.widgets.outcome import ending_lines
from tests.tui.screen_driver import texts


def test_all_in() -> None:
    outcome = Outcome(completed=True, exit_code=0, judged=31, words={"in": 31}, said="All in.")
    lines = texts(ending_lines(outcome, "The report is here.", 78))
    assert lines[0] == "     ▄▄    All in."
    assert "✓  31 in" in lines[2]
    assert lines[-1] == "The report is here."


def test_something_out_shows_the_other_shape_and_every_count() -> None:
    words = {"in": 28, "out": 2, "too close to call": 1}
    outcome = Outcome(completed=True, exit_code=1, judged=31, words=words, said="Not in.")  # type: ignore[arg-type]
    lines = texts(ending_lines(outcome, "", 78))
    assert lines[0].startswith(CROSS[0])
    assert [line[11:].split() for line in lines[2:5]] == [
        ["✓", "28", "in"],
        ["~", "1", "too", "close", "to", "call"],
        ["✗", "2", "out"],
    ]


def test_broken_off_is_not_good() -> None:
    outcome = Outcome(completed=False, exit_code=1, judged=0, words={}, said="Not finished.")
    lines = texts(ending_lines(outcome, "", 78))
    assert not lines[0].startswith(TICK[0])
