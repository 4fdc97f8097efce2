"""The tables of readings."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Literal

import pytest

from bench.measure.method import Method
from bench.measure.reading import NoReading, Reading
from bench.procedure.model.targets import Target
from bench.session.record.reader import read_session
from bench.session.report.plain_text import report_text
from bench.session.report.report import report_html
from bench.session.report.tables import _letter, figures, responses
from tests.session.made_up import LEVEL, Writer, azimuth, begin, failed, level, record_level, response
from tests.session.page import Page, grid


@pytest.fixture(name="w")
def _w(tmp_path: Path) -> Writer:
    return begin(tmp_path)


def test_figures_are_ordered_and_channels_stand_together(w: Writer) -> None:
    w.keep("s", "left", "record-replay", [record_level("right", 0.0), record_level("left", 0.0)])
    w.keep("s", "left", "reference tape", [azimuth(1.0), level("right", -12.0), level("left", -12.0)])
    things = figures(w.store.records())
    assert [(t.source, t.name, [line.channel for line in t.lines]) for t in things] == [
        ("reference tape", "Level", ["left", "right"]),
        ("reference tape", "Azimuth, delay", ["left to right"]),
        ("record-replay", "Record-to-replay level", ["left", "right"]),
    ]
    assert [t.note for t in things] == ["a", "b", "a"]  # the same method has the same letter


def test_another_method_is_another_row(w: Writer) -> None:
    reading, target = level("left", -12.0)
    w.keep("s", "found-clean", "reference tape", [(replace(reading, method=Method("another")), target)])
    w.keep("s", "left", "reference tape", [(reading, target)])
    things = figures(w.store.records())
    assert [[cell.text for cell in t.lines[0].cells] for t in things] == [
        ["–", "−12.00 ± 0.12", "–"],
        ["–", "–", "−12.00 ± 0.12"],
    ]


def test_the_last_reading_of_a_stage_stands(w: Writer) -> None:
    w.keep("s", "left", "reference tape", [level("left", -15.0)])
    w.keep("s", "left", "reference tape", [level("left", -12.0)])
    (thing,) = figures(w.store.records())
    assert [(c.text, c.word) for c in thing.lines[0].cells][2] == ("−12.00 ± 0.12", "in")


def test_a_reading_without_a_verdict_does_not_hide_the_one_that_was_judged(w: Writer) -> None:
    reading, target = record_level("left", 0.2)
    w.keep("s", "left", "record-replay", [(reading, target)])
    w.keep("t", "left", "record-replay", [(replace(reading, value=0.3), None)])
    (thing,) = figures(w.store.records())
    assert (thing.lines[0].cells[2].word, thing.lines[0].cells[2].text[:4]) == ("in", "0.20")


def test_a_reading_that_failed_stands_with_its_fellows(w: Writer) -> None:
    w.keep("s", "found-clean", "reference tape", [level("left", -15.0)], sent_db=0.0)
    nothing = NoReading("level", "left", "no tone came within a minute", frequency_hz=315.0)
    w.keep("s", "left", "reference tape", [(nothing, LEVEL)], sent_db=0.0)
    (thing,) = figures(w.store.records())
    assert [c.text for c in thing.lines[0].cells] == ["–", "−15.00 ± 0.12", "no reading"]
    assert thing.reasons == ("left, as left: no reading, because no tone came within a minute",)


def test_responses_of_two_sources_are_two_tables(w: Writer) -> None:
    w.keep("s", "left", "record-replay", response("left", 1.0), sent_db=-20.0)
    w.keep("s", "left", "reference tape", [*response("right", 1.0), failed("left", 10000.0)], sent_db=-20.0)
    first, second = responses(w.store.records())
    assert (first.source, first.channels) == ("reference tape", ("left", "right"))
    assert (second.source, second.channels) == ("record-replay", ("left",))
    assert first.detail == "tones at −20 dB; dB re 500 Hz at −20 dB"
    row = first.rows[-2]
    assert (row.label, first.limits[0].row[-2]) == ("10 kHz", "0 ± 3")
    assert [p.cells[2].text for p in row.points] == ["no reading", "−0.75 ± 0.11"]
    assert first.rows[0].points[0].cells[2].text == "–"


def test_each_stage_has_the_limits_by_which_it_was_judged(w: Writer) -> None:
    """A response before cleaning at ±2 dB, and the same tones afterwards, all but one, at ±0.5 dB."""
    tight = Target(unit="dB", tolerance=0.5, source="common practice, no source")
    curve = response("left", 1.0)[3:7]
    w.keep("dirty", "found-dirty", "record-replay", curve, sent_db=-20.0)
    w.keep("clean", "found-clean", "record-replay", curve[:1], sent_db=-20.0)
    w.keep("s", "left", "record-replay", [(r, tight) for r, _ in curve[:3]], sent_db=-20.0)
    (table,) = responses(w.store.records())
    assert [(limits.stages, limits.row) for limits in table.limits] == [
        (("found-dirty", "found-clean"), ("0 ± 2",) * 4),
        (("left",), ("0 ± 0.5", "0 ± 0.5", "0 ± 0.5", "–")),
    ]
    session = read_session(w.store.folder)
    rows = [[cell.text for cell in row[:2]] for row in grid(Page(report_html(session)).root.all("table")[0])]
    assert rows[1:3] == [["Limits, before cleaning, after cleaning"] * 2, ["Limits, as measured"] * 2]
    heads = "limits  before cleaning  after cleaning  limits  as measured"
    assert heads in re.sub(r" {3,}", "  ", report_text(session))


def test_a_reading_judged_by_another_target_than_that_of_its_line_has_its_own(w: Writer) -> None:
    """A foreign tape's azimuth is judged against 0; the screw put back, against what was found."""
    found, target = azimuth(-42.7)
    w.keep("s", "found-clean", "owner's tape", [(found, target)])
    back = replace(found, value=-38.0)
    w.keep("s", "left", "owner's tape", [(back, target.model_copy(update={"value": -42.7, "tolerance": 12.0}))])
    ((line,),) = [thing.lines for thing in figures(w.store.records())]
    assert line.target == "−42.7 ± 12"
    assert [cell.note for cell in line.cells] == ["", "target 0 ± 5", ""]
    session = read_session(w.store.folder)
    assert "after cleaning −42.70 ± 0.40 out (target 0 ± 5)" in " ".join(report_text(session).split())
    assert "✗ out target 0 ± 5" in " ".join(Page(report_html(session)).root.all("table")[0].text.split())


def test_one_frequency_at_two_levels_makes_two_tables(w: Writer) -> None:
    w.keep("s", "left", "record-replay", response("left", 1.0), sent_db=-40.0)
    w.keep("s", "left", "record-replay", response("left", 2.0), sent_db=-20.0)
    assert [t.detail.split(";")[0] for t in responses(w.store.records())] == ["tones at −20 dB", "tones at −40 dB"]


def test_tones_of_mixed_levels_stay_in_one_table(w: Writer) -> None:
    curve = response("left", 1.0)
    w.keep("s", "left", "record-replay", curve[:6], sent_db=-20.0)
    w.keep("s", "left", "record-replay", curve[6:], sent_db=-24.0)
    (table,) = responses(w.store.records())
    assert [row.label for row in table.rows][5:7] == ["1 kHz, −20 dB", "2 kHz, −24 dB"]


def test_a_frequency_without_a_limit_says_so(w: Writer) -> None:
    reading, target = response("left", 1.0)[0]
    w.keep("s", "left", "record-replay", [(replace(reading, frequency_hz=20.0), target), (reading, target)])
    (table,) = responses(w.store.records())
    assert table.rows[0].points[0].cells[2].verdict == "no limit here"


def test_a_tone_alone_is_a_figure_and_no_curve(w: Writer) -> None:
    reading, target = response("left", 1.0)[0]
    w.keep("s", "left", "record-replay", [(reading, target)], sent_db=-20.0)
    assert responses(w.store.records()) == ()
    (thing,) = figures(w.store.records())
    assert (thing.name, thing.detail) == ("Response", "40 Hz, −20 dB; re 500 Hz at −20 dB")


MISTRACKING = Target(unit="dB", tolerance=3.0, source="common practice, no source")


def test_notes_have_letters_for_ever() -> None:
    assert [_letter(n) for n in (0, 25, 26, 27, 51, 52, 701, 702)] == ["a", "z", "aa", "ab", "az", "ba", "zz", "aaa"]


def test_the_worst_of_mistracking_stands_in_one_row_wherever_it_was_found(w: Writer) -> None:
    found = Reading(
        "mistracking",
        "left",
        -4.0,
        0.2,
        frequency_hz=8000.0,
        method=Method("by the law of Type B", worst_level_db=-20.0),
    )
    left = replace(found, value=-0.3, frequency_hz=2000.0, method=Method("by the law of Type B", worst_level_db=-35.0))
    w.keep("s", "found-clean", "record-replay", [(found, MISTRACKING)])
    w.keep("s", "left", "record-replay", [(left, MISTRACKING)])
    (thing,) = figures(w.store.records())
    assert thing.detail == ""
    assert [(cell.text, cell.note) for cell in thing.lines[0].cells] == [
        ("–", ""),
        ("−4.00 ± 0.20", "at 8 kHz, −20 dB"),
        ("−0.30 ± 0.20", "at 2 kHz, −35 dB"),
    ]
    text = " ".join(report_text(read_session(w.store.folder)).split())
    assert "after cleaning −4.00 ± 0.20 out (at 8 kHz, −20 dB)" in text


def test_tones_of_a_noise_reduction_circuit_are_a_row_each_at_whatever_level(w: Writer) -> None:
    method = Method("Type B in minus out, beside the data sheet of Type B", level_db=-30.0)
    for hz, db in ((3000.0, -30.0), (5000.0, -30.0), (10000.0, 0.0), (10000.0, -40.0)):
        error = Reading("encoding_error", "left", 0.3, 0.1, frequency_hz=hz, method=method)
        w.keep("s", "left", "record-replay", [(error, MISTRACKING)], sent_db=db)
    assert figures(w.store.records()) == ()
    (table,) = responses(w.store.records())
    assert table.title == "Encoding error, record-replay"
    assert [row.label for row in table.rows] == ["3 kHz", "5 kHz", "10 kHz", "10 kHz"]


def test_each_channel_of_a_circuit_has_the_level_at_which_it_was_tested(w: Writer) -> None:
    """The channels of a tape differ in level, so that one tone reaches the two decoders at two levels."""
    method = Method("Type B in minus out, beside the data sheet of Type B", level_db=-34.38)
    for hz in (3000.0, 5000.0):
        left = Reading("decoding_error", "left", -2.6, 0.3, frequency_hz=hz, method=method)
        right = replace(left, channel="right", method=replace(method, level_db=-21.4))
        w.keep("s", "left", "record-replay", [(left, MISTRACKING), (right, MISTRACKING)], sent_db=-22.388200260161128)
    (table,) = responses(w.store.records())
    assert [[point.cells[2].note for point in row.points] for row in table.rows] == [["at −34.4 dB", "at −21.4 dB"]] * 2
    session = read_session(w.store.folder)
    assert "in (at −34.4 dB)" in report_text(session)
    assert "at −21.4 dB" in Page(report_html(session)).root.all("table")[0].text
    assert "22.388" not in report_text(session)


def test_the_reference_level_of_noise_reduction_is_given_once_and_for_the_format(tmp_path: Path) -> None:
    """200 nWb/m on cassette (ANSI); its value for open reel is of no use to the owner of a cassette deck."""
    full = "reference level of Type B: on cassette 200 nWb/m at 400 Hz (ANSI), on open reel 185 nWb/m (from memory)"
    tapes: tuple[tuple[Literal["", "cassette", "open reel"], str], ...] = (
        ("cassette", "Reference level of Type B: 200 nWb/m at 400 Hz (ANSI)."),
        ("open reel", "Reference level of Type B: 185 nWb/m (from memory)."),
        ("", "R" + full[1:] + "."),
    )
    for tape_format, note in tapes:
        w = begin(tmp_path / f"a {tape_format}", tape_format=tape_format)
        heard = Reading("heard_error", "left", -7.8, 0.4, frequency_hz=10000.0, method=Method("law"), reference=full)
        error = replace(heard, quantity="decoding_error", method=Method("in minus out"))
        w.keep("s", "left", "record-replay", [(heard, MISTRACKING)])
        w.keep("s", "left", "record-replay", [(replace(error, frequency_hz=hz), MISTRACKING) for hz in (3e3, 5e3)])
        session = read_session(w.store.folder)
        assert session.job.tape_format == tape_format
        for page in (report_text(session), Page(report_html(session)).root.text):
            text = " ".join(page.split())
            assert text.count("nWb/m") == 2 + (not tape_format)  # once in the facts of the job
            assert note in text
            assert text.count("re reference level of Type B") == 2


def test_parts_of_flutter_are_no_rows_but_the_judged_one_is(w: Writer) -> None:
    """Its rate differs a little each time, and names the part: a roller that comes round every 0.86 s."""
    limit = Target(unit="%", at_most=0.2, source="common practice, no source")
    method = Method("line in the unweighted deviation, peak", every_s=0.86, part="pinch roller")
    left = Reading("flutter_component", "left", 0.386, 0.035, frequency_hz=1.1635, method=method)
    right = replace(left, channel="right", frequency_hz=1.1634)
    w.keep("found", "found-clean", "reference tape", [(replace(left, frequency_hz=1.17), limit)])
    w.keep("s", "left", "reference tape", [(left, limit), (right, limit)])
    judged = w.store.records()
    (thing,) = figures(judged)
    assert thing.method == "line in the unweighted deviation, peak"
    assert [line.channel for line in thing.lines] == ["left", "right"]
    assert [cell.note for cell in thing.lines[0].cells][1:] == [
        "at 1.17 Hz, pinch roller",
        "at 1.163 Hz, pinch roller",
    ]
    assert figures(tuple(replace(r, verdict=None) for r in judged)) == ()
    assert "0.386 ± 0.035 ✗ out" in Page(report_html(read_session(w.store.folder))).root.text


def test_a_tone_that_its_certificate_corrects_stays_in_its_curve(w: Writer) -> None:
    curve = response("left", 1.0)
    reading, target = curve[3]
    curve[3] = (replace(reading, method=replace(reading.method, certificate_db=-0.1)), target)
    w.keep("s", "left", "reference tape", curve, sent_db=-20.0)
    (table,) = responses(w.store.records())
    assert len(table.rows) == len(curve)
