"""The sticker inside the lid."""

from __future__ import annotations

from pathlib import Path

from bench.session.label import WIDTH, label_lines
from tests.session.made_up import whole
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
    assert "Next due 3 July 2021" in label_lines(second)  # half a decibel of room at a decibel a year


def test_what_is_out_is_not_called_lined_up(tmp_path: Path) -> None:
    lines = label_lines(whole(tmp_path, treble_left=8.0))
    assert lines[-1] == "OUT: see the report"
    assert label_lines(whole(tmp_path, finish=False))[-1].startswith("NOT FINISHED")
    assert label_lines(visit(tmp_path, 0, None, -12.0))[0] == "Checked 1 January 2020"


def test_bias_is_told_by_channel(tmp_path: Path) -> None:
    folder = whole(tmp_path)
    copy = folder / "inputs" / "line-up.toml"
    copy.write_text(copy.read_text().replace('id = "proof-record"', 'id = "proof-record"\ntarget = "tape.bias"'))
    lines = label_lines(folder)
    assert any(line.startswith("Bias     left ") for line in lines)
    assert all(len(line) <= WIDTH for line in lines)


def test_names_too_long_or_strange_stay_on_the_label(tmp_path: Path) -> None:
    lines = label_lines(whole(tmp_path, machine="x" * 90, tape="\x1b[31mred " * 9))
    assert all(len(line) <= WIDTH and line.isprintable() for line in lines)
