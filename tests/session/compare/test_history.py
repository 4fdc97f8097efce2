"""The history of a machine over the years."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from bench.problem import Problem
from bench.session.compare.history import History, machine_history
from bench.session.compare.history_text import history_lines
from bench.workspace import Workspace
from tests.session.made_up import JOB, whole
from tests.session.years import visit


def told(workspace: Path, quantity: str | None = None, months: int = 12) -> History:
    return machine_history(Workspace(workspace), "Lanternhill two-head deck", quantity, months)


def test_drift_is_from_as_left_to_as_found_whatever_was_turned_between(tmp_path: Path) -> None:
    visit(tmp_path, 0, -13.0, -12.0)
    visit(tmp_path, 1, -12.2, -11.9)
    visit(tmp_path, 3, -12.3, -12.0)
    (series,) = told(tmp_path).series
    assert series.drift is not None
    # Steps of −0.2 in one year and −0.4 in two, of equal weight: −0.2 a year.
    assert series.drift.per_year == pytest.approx(-0.2, abs=0.002)
    assert series.drift.uncertainty == pytest.approx(0.12 * 2**0.5 / 5**0.5, rel=0.01)
    assert [(p.stage, p.value) for p in series.points][:2] == [("found-clean", -13.0), ("left", -12.0)]
    assert series.reaches is not None
    assert series.reaches.year == 2025  # half a decibel at −0.2 a year, from January 2023


def test_a_visit_that_turned_nothing_is_as_found_too(tmp_path: Path) -> None:
    visit(tmp_path, 0, None, -12.0, turned=False)
    visit(tmp_path, 1, None, -12.5, turned=False)
    (series,) = told(tmp_path).series
    assert series.drift is not None
    assert series.drift.per_year == pytest.approx(-0.5, abs=0.002)


def test_a_machine_that_was_turned_before_it_was_read_breaks_the_line(tmp_path: Path) -> None:
    visit(tmp_path, 0, None, -12.0)
    folder = visit(tmp_path, 1, -12.5, -12.0)
    text = (folder / "session.toml").read_text(encoding="utf-8")
    (folder / "session.toml").write_text(
        re.sub(r'\[\[readings\]\]\nid = "r0001".*?(?=\[\[readings\]\])', "", text, flags=re.DOTALL)
    )
    (series,) = told(tmp_path).series
    assert series.drift is None
    assert series.no_drift == "it was adjusted before it was read"


@pytest.mark.parametrize(
    ("what", "value", "said"),
    [
        ("method", "another", "different methods: steady tone, tracked, and another"),
        ("reference", "0 VU", "different references: full-scale sine, and 0 VU"),
        ("reference_tape", "Another tape", f"different tapes: {JOB.reference_tape}, and Another tape"),
        ("calibration", "interface of May", f"different interfaces: practice machine, {JOB.calibration}, and"),
    ],
)
def test_what_was_measured_otherwise_is_not_joined_and_named(tmp_path: Path, what: str, value: Any, said: str) -> None:
    visit(tmp_path, 0, None, -12.0)
    visit(tmp_path, 1, -12.5, -12.0, **{what: value})
    (series,) = told(tmp_path).series
    assert series.drift is None
    assert series.no_drift.startswith(said)


def test_due_by_the_interval_or_earlier_by_drift(tmp_path: Path) -> None:
    visit(tmp_path, 0, None, -12.0)
    visit(tmp_path, 1, -12.05, -12.0)
    history = told(tmp_path)
    assert (history.due.on, history.due.because) == (date(2022, 1, 1), "12 months after its last visit")
    assert told(tmp_path, months=6).due.on == date(2021, 7, 1)
    visit(tmp_path, 2, -13.0, -12.0)
    drifting = told(tmp_path).due
    # −0.05 and −1.0: half a decibel a year by the line, half a decibel of room.
    assert drifting.on is not None
    assert date(2022, 11, 1) < drifting.on < date(2023, 2, 1)
    assert "level, left, 315 Hz, 0 dB, reference tape drifts to the end of its tolerance" in drifting.because
    visit(tmp_path, 3, -12.4, -12.9)
    assert told(tmp_path).due.because == "level, left, 315 Hz, 0 dB, reference tape was left outside its tolerance"
    assert told(tmp_path).due.on == date(2023, 1, 1)


def test_one_quantity_is_told_but_what_is_due_by_all(tmp_path: Path) -> None:
    visit(tmp_path, 0, None, -12.0)
    visit(tmp_path, 1, -12.9, -12.0)
    assert told(tmp_path, "noise").series == ()
    assert "level" in told(tmp_path, "noise").due.because
    assert len(told(tmp_path, "level").series) == 1


def test_a_damaged_visit_is_named_and_the_others_are_told(tmp_path: Path) -> None:
    visit(tmp_path, 0, None, -12.0)
    bad = visit(tmp_path, 1, -12.5, -12.0)
    text = (bad / "session.toml").read_text(encoding="utf-8")
    (bad / "session.toml").write_text(text[: text.index("[[events]]")] + "[[events]]\nkind")
    history = told(tmp_path)
    assert "damaged" in history.visits[1].note
    assert history.visits[0].note == ""
    assert len(history.series) == 1


def test_an_unknown_machine_is_said_with_those_there_are(tmp_path: Path) -> None:
    with pytest.raises(Problem, match="there are no sessions yet"):
        told(tmp_path)
    visit(tmp_path, 0, None, -12.0)
    visit(tmp_path, 1, None, -12.0, machine="Lanternhill reel")
    with pytest.raises(Problem, match="there are Lanternhill reel, Lanternhill two-head deck"):
        machine_history(Workspace(tmp_path), "Lanternhill")
    assert machine_history(Workspace(tmp_path), "REEL").machine == "Lanternhill reel"


def test_as_text(tmp_path: Path) -> None:
    visit(tmp_path, 0, -13.0, -12.0)
    visit(tmp_path, 1, -12.4, -12.0)
    assert history_lines(told(tmp_path))[5:] == [
        "    Line up a cassette deck: All in. The judged reading at 1 step is in.",
        "",
        "Reference tape",
        "--------------",
        "Level, left, 315 Hz, 0 dB (dBFS) [1]",
        "       1 January 2020  after cleaning −13.00 ± 0.12 out; as left −12.00 ± 0.12 in",
        "       1 January 2021  after cleaning −12.40 ± 0.12 too close to call; as left −12.00 ± 0.12 in",
        "    drift: −0.40 ± 0.17 dB a year, over 1.0 years; reaches the end of −12 ± 0.5 about April 2022",
        "",
        "[1] re full-scale sine; steady tone, tracked",
        "Uncertainties are expanded (k = 2); a drift is from as left to as found at the next visit.",
        "",
        "Next due: 1 January 2022, because 12 months after its last visit.",
    ]


def test_every_reading_of_a_whole_line_up_is_in_it(tmp_path: Path) -> None:
    whole(tmp_path)
    whole(tmp_path)
    history = told(tmp_path)
    assert len(history.visits) == 2
    assert all(v.adjusted for v in history.visits)
    counted = {s.subject.quantity for s in history.series}
    assert counted == {"level", "response", "azimuth_delay", "speed_error", "record_replay_level"}
    assert all(s.no_drift == "too short a time to tell" for s in history.series)
    text = "\n".join(history_lines(history))
    assert "Azimuth, delay, left to right, 10 kHz" in text
