"""Comparison of two sessions."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from bench.session.compare.comparison import compare_folders
from bench.session.compare.comparison_text import comparison_lines, summary
from tests.session.made_up import JOB, whole
from tests.session.years import visit


@pytest.mark.parametrize(("by", "state"), [(0.16, "no change shown"), (0.18, "changed"), (-0.18, "changed")])
def test_a_difference_is_a_change_only_beyond_the_combined_uncertainty(tmp_path: Path, by: float, state: str) -> None:
    # Two readings of ± 0.12: together ± 0.17.
    found = compare_folders(visit(tmp_path, 0, None, -12.0), visit(tmp_path, 1, None, -12.0 + by))
    (row,) = found.rows
    assert row.state == state
    assert row.by == pytest.approx(by)
    assert row.uncertainty == pytest.approx(0.1697, abs=1e-4)


def test_which_readings_are_set_beside_each_other(tmp_path: Path) -> None:
    a, b = visit(tmp_path, 0, -13.0, -12.0), visit(tmp_path, 1, -12.4, -11.9)
    assert [compare_folders(a, b, way).rows[0].by for way in ("left", "found", "between")] == [
        pytest.approx(v) for v in (0.1, 0.6, -0.4)
    ]


@pytest.mark.parametrize(
    ("what", "value", "said"),
    [
        ("method", "another", "different methods: steady tone, tracked, and another"),
        ("reference", "0 VU", "different references: full-scale sine, and 0 VU"),
        ("reference_tape", "Another tape", f"different tapes: {JOB.reference_tape}, and Another tape"),
        (
            "calibration",
            "of May",
            f"different interfaces: practice machine, {JOB.calibration}, and practice machine, of May",
        ),
        ("uncertainty", 0.0, "the uncertainty is not known"),
    ],
)
def test_what_differs_is_named_and_not_compared(tmp_path: Path, what: str, value: Any, said: str) -> None:
    found = compare_folders(visit(tmp_path, 0, None, -12.0), visit(tmp_path, 1, None, -13.0, **{what: value}))
    (row,) = found.rows
    assert (row.state, row.because, row.by) == ("not compared", said, None)
    assert found.changed == ()
    assert said in comparison_lines(found)


def test_other_tapes_do_not_matter_where_nothing_was_recorded(tmp_path: Path) -> None:
    found = compare_folders(visit(tmp_path, 0, None, -12.0), visit(tmp_path, 1, None, -12.0, tape="Another blank"))
    assert found.rows[0].state == "no change shown"


def test_another_machine_or_speed_is_said(tmp_path: Path) -> None:
    found = compare_folders(
        visit(tmp_path, 0, None, -12.0), visit(tmp_path, 1, None, -12.0, machine="Reel", speed="95 mm/s")
    )
    assert found.notes == (
        "different machines: Lanternhill two-head deck, and Reel",
        "different tape speeds: 4.76 cm/s (1⅞ ips), and 9.5 cm/s (3¾ ips)",
    )


def test_what_only_one_has_is_listed_and_all_is_counted(tmp_path: Path) -> None:
    line_up, other = whole(tmp_path), visit(tmp_path, 0, None, -12.0, port_kind="practice")
    found = compare_folders(line_up, other)
    assert summary(found) == "1 no change shown and 53 only in the first."
    assert compare_folders(other, line_up).rows[0].state in {"only in the second", "no change shown"}
    lines = comparison_lines(found)
    assert lines[0].startswith(
        f"first   {line_up.name}: Lanternhill two-head deck, Line up a cassette deck, 3 May 2026"
    )
    assert "nothing" in lines
    assert lines[-1] == summary(found)


def test_the_same_session_twice_changes_nothing(tmp_path: Path) -> None:
    folder = whole(tmp_path)
    assert {r.state for r in compare_folders(folder, folder).rows} == {"no change shown"}
    assert summary(compare_folders(folder, folder)) == "54 no change shown."


def test_nothing_in_common_at_all(tmp_path: Path) -> None:
    a, b = visit(tmp_path, 0, None, None), visit(tmp_path, 1, None, None)
    assert summary(compare_folders(a, b)) == "There is nothing to compare: neither has a reading of that stage."


@pytest.mark.parametrize(("by", "state", "said"), [(0.004, "no change shown", "0.00"), (0.011, "changed", "+0.01")])
def test_a_change_that_would_be_written_as_nothing_is_none(tmp_path: Path, by: float, state: str, said: str) -> None:
    first, second = (visit(tmp_path, n, None, -12.0 + n * by, uncertainty=0.001) for n in range(2))
    (row,) = compare_folders(first, second).rows
    assert row.state == state
    assert any(line.endswith(f": {said} ± 0.01 dB") for line in comparison_lines(compare_folders(first, second)))
