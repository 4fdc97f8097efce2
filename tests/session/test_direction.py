"""Readings of an auto-reverse deck in reverse are never mistaken for readings forward."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.record_to_replay import record_to_replay
from bench.session.compare.machine_errors import AZIMUTH, machine_errors
from bench.session.compare.subject import in_order, last_of, subject_of
from bench.session.record.reader import read_session
from bench.session.report.improvement import changes
from bench.session.report.small_plots import small_plots
from bench.session.report.tables import figures, responses
from tests.results import a_reading
from tests.session.fleet_of import Machine, session
from tests.session.made_up import Writer, azimuth, begin, record_level, response
from tests.session.page import Page


@pytest.fixture(name="w")
def _w(tmp_path: Path) -> Writer:
    return begin(tmp_path)


def _both(w: Writer) -> tuple[ReadingRecord, ...]:
    """Azimuth as found forward, then as left forward and in reverse."""
    w.keep("play", "found-clean", "reference tape", [azimuth(20.0)], sent_db=-20.0)
    w.keep("forward", "left", "reference tape", [azimuth(1.0)], sent_db=-20.0)
    w.keep("reverse", "left", "reference tape", [azimuth(-3.0)], sent_db=-20.0)
    return tuple(replace(r, direction="reverse") if r.step == "reverse" else r for r in w.store.records())


def test_each_direction_has_a_row_of_its_own(w: Writer) -> None:
    things = figures(_both(w))
    assert [(t.detail.partition(";")[0], [c.text for c in t.lines[0].cells]) for t in things] == [
        ("10 kHz, −20 dB", ["–", "20.00 ± 0.40", "1.00 ± 0.40"]),
        ("10 kHz, −20 dB, in reverse", ["–", "–", "−3.00 ± 0.40"]),
    ]


def test_responses_of_two_directions_are_two_tables(w: Writer) -> None:
    w.keep("forward", "left", "reference tape", response("left", 1.0), sent_db=-20.0)
    w.keep("reverse", "left", "reference tape", response("left", 2.0), sent_db=-20.0)
    kept = tuple(replace(r, direction="reverse") if r.step == "reverse" else r for r in w.store.records())
    assert [t.title for t in responses(kept)] == [
        "Response, reference tape",
        "Response, reference tape, in reverse",
    ]


def test_what_was_read_in_reverse_is_no_change_of_what_was_read_forward(w: Writer) -> None:
    found, forward, reverse = _both(w)
    assert [(c.before, c.after) for c in changes((found, forward, reverse), "found-clean", "left")] == [(20.0, 1.0)]
    assert changes((found, reverse), "found-clean", "left") == []


def test_the_plot_of_azimuth_says_which_way(w: Writer) -> None:
    (plot,) = small_plots(_both(w), (), None, "")
    said = Page(plot.svg).root.all("svg")[0].attributes["aria-label"]
    assert "replay, as left 1.00 ± 0.40 µs; replay in reverse, as left −3.00 ± 0.40 µs" in said


def test_a_comparison_has_both_apart(w: Writer) -> None:
    kept = replace(read_session(w.store.folder), readings=_both(w))
    assert [s.text for s in sorted(last_of(kept, ("left",)), key=in_order) if s.quantity == "azimuth_delay"] == [
        "Azimuth, delay, left to right, 10 kHz, −20 dB, reference tape",
        "Azimuth, delay, left to right, 10 kHz, −20 dB, in reverse, reference tape",
    ]


def test_a_tape_carried_to_another_machine_is_played_forward(tmp_path: Path) -> None:
    forward = read_session(session(tmp_path, Machine("Deck", 2, replay_tilt=6.0)))
    found = next(r for r in forward.readings if r.reading.quantity == "azimuth_delay")
    reverse = replace(found, direction="reverse", reading=replace(a_reading(found.reading), value=-55.0))
    both = replace(forward, readings=(*forward.readings, reverse))
    assert machine_errors(both).replay[AZIMUTH] == machine_errors(forward).replay[AZIMUTH]


def test_mistracking_goes_by_one_direction(w: Writer) -> None:
    w.keep("forward", "left", "record-replay", [record_level("left", 0.2)], sent_db=-20.0)
    w.keep("reverse", "left", "record-replay", [record_level("left", -4.0)], sent_db=-20.0)
    kept = tuple(replace(r, direction="reverse") if r.step == "reverse" else r for r in w.store.records())
    forward, reverse = record_to_replay(kept), record_to_replay(kept, "reverse")
    assert forward is not None
    assert reverse is not None
    assert ([r.value for r in forward.readings], [r.value for r in reverse.readings]) == ([0.2], [-4.0])


def test_a_direction_is_written_and_read(w: Writer) -> None:
    records = _both(w)
    assert [subject.direction for r in records if (subject := subject_of(r)) is not None] == ["", "", "reverse"]
    w.store.keep((replace(records[-1], id="r9999"),))
    w.store.close()
    assert [r.direction for r in read_session(w.store.folder).readings] == ["", "", "", "reverse"]
