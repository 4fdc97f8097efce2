"""The label for the inside of the lid."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from pathlib import Path

from bench.session.compare.history import history_of
from bench.session.compare.machines import by_due_date
from bench.session.record.index import entries
from bench.session.report.label import WIDTH, label_lines
from tests.session.made_up import STEPS, whole
from tests.session.years import visit


def test_a_line_up(tmp_path: Path) -> None:
    text = label_lines(whole(tmp_path))
    assert text == [
        "Lined up 3 May 2026",
        "Lanternhill two-head deck",
        "",
        "Tape     Lanternhill ferric work",
        "         tape",
        "Level    250 nWb/m (DIN)",
        "Next due 3 May 2027",
        "By       The Lanternhill workshop",
        "",
        "All in",
    ]


def test_the_next_due_is_by_interval_or_by_drift_as_known_that_day(tmp_path: Path) -> None:
    first, second = visit(tmp_path, 0, None, -12.0), visit(tmp_path, 1, -13.0, -12.0)
    assert "Next due 1 July 2020" in label_lines(first, 6)
    assert "Next due 1 January 2021" in label_lines(first)
    assert "Next due 3 July 2021, by its" in label_lines(second)  # half a decibel to the limit, at a decibel a year


def test_list_history_and_label_are_due_on_the_same_day(tmp_path: Path) -> None:
    first, last = visit(tmp_path, 0, None, -12.0), visit(tmp_path, 1, -12.05, -12.0)
    (tmp_path / "sessions" / "2021-07-01-1000-broken-off").mkdir()
    text = (last / "session.toml").read_text(encoding="utf-8")
    off = text.replace("2021-01-01", "2021-07-01").replace("done = true", "done = false")
    off = "".join(part for part in re.split(r"(?=\n\[\[)", off) if 'kind = "done"' not in part)
    (tmp_path / "sessions" / "2021-07-01-1000-broken-off" / "session.toml").write_text(off, encoding="utf-8")
    found = entries(tmp_path / "sessions")
    assert [e.done for e in found] == [False, True, True]
    (machine,) = by_due_date(found)
    history = history_of(found, None, 12)
    assert machine.due == history.due.on == date(2022, 1, 1)  # a year after the finished one
    assert history.due.because == "12 months after its last visit that came to its end"
    assert not history.due.sooner
    assert "Next due 1 January 2022" in label_lines(last)
    assert "Next due 1 January 2021" in label_lines(first)


def test_what_drifts_is_due_sooner_than_the_list_says_by_the_interval(tmp_path: Path) -> None:
    visit(tmp_path, 0, None, -12.0)
    last = visit(tmp_path, 1, -13.0, -12.0)
    found = entries(tmp_path / "sessions")
    due = history_of(found, None, 12).due
    assert (due.on, due.sooner) == (date(2021, 7, 3), True)
    assert "Next due 3 July 2021, by its" in label_lines(last)
    assert by_due_date(found)[0].due == date(2022, 1, 1)


def test_what_is_out_is_not_called_lined_up(tmp_path: Path) -> None:
    lines = label_lines(whole(tmp_path, treble_left=8.0))
    assert lines[-1] == "OUT: see the report"
    assert label_lines(whole(tmp_path, finish=False))[-1].startswith("NOT FINISHED")
    assert label_lines(visit(tmp_path, 0, None, -12.0))[0] == "Checked 1 January 2020"


def test_bias_is_told_by_channel(tmp_path: Path) -> None:
    steps = tuple(replace(s, target="tape.bias") if s.id == "proof-record" else s for s in STEPS)
    folder = whole(tmp_path, steps=steps)
    lines = label_lines(folder)
    assert any(line.startswith("Bias     left ") for line in lines)
    assert all(len(line) <= WIDTH for line in lines)


def test_names_too_long_or_strange_stay_on_the_label(tmp_path: Path) -> None:
    lines = label_lines(whole(tmp_path, machine="x" * 90, tape="\x1b[31mred " * 9))
    assert all(len(line) <= WIDTH and line.isprintable() for line in lines)
