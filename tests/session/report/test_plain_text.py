"""The plain-text report has the same content as the page."""

from __future__ import annotations

from pathlib import Path

from bench.measure.reading import Channel
from bench.measure.stage import Stage
from bench.procedure.state.events import Acted, Noted, Ticked, Turned
from bench.session.record.reader import read_session
from bench.session.report.plain_text import WIDTH, report_text
from bench.session.report.report import report_html
from tests.session.made_up import Writer, begin, failed, level, record_level, response, whole
from tests.session.page import Page


def flat(text: str) -> str:
    return " ".join(text.split())


def test_every_figure_of_the_page_is_in_the_text(tmp_path: Path) -> None:
    session = read_session(whole(tmp_path, treble_left=5.5))
    text = flat(report_text(session))
    page = Page(report_html(session))
    cells = [flat(cell.text.replace("✗", "").replace("~", "").replace("✓", "")) for cell in page.root.all("td")]
    figures = {cell for cell in cells if "±" in cell}
    assert len(figures) > 60
    assert {f for f in figures if f not in text} == set()
    assert "1 step is out: Record-to-replay as left (response, left, 12.5 kHz: −7.12 ± 0.11 dB)." in text
    for lead in (e for e in page.root.all("p") if e.has("lead")):
        assert flat(lead.text) in text


def test_lines_fit_a_terminal_and_hold_no_escapes(tmp_path: Path) -> None:
    w = begin(tmp_path, machine="deck \x1b[31m", port="a\x9bb")
    w.note("replay-level", Noted("line one\nline two \x1b]0;title\x07 " + "word " * 40))
    w.keep("proof-replay", "left", "reference tape", [failed("left", 10000.0), failed("left", 12500.0)])
    text = report_text(read_session(w.store.folder))
    assert all(c.isprintable() or c in "\n\N{NO-BREAK SPACE}" for c in text)
    assert all(len(line) <= WIDTH for line in text.splitlines() if "sha256" not in line)
    said = "10 kHz, 12.5 kHz, left, as measured: no reading, because the tone was never steady for half a second."
    assert said in flat(text)


def test_where_nothing_was_adjusted_nothing_is_said_to_be_left_by_it(tmp_path: Path) -> None:
    def said(*, adjusted: bool) -> str:
        w = begin(tmp_path / str(adjusted))
        w.keep("found", "found-clean", "reference tape", [level("left", -12.1)], sent_db=0.0)
        if adjusted:
            w.keep("replay-level", "left", "reference tape", [level("left", -12.0)], sent_db=0.0)
            w.note("replay-level", Turned("replay level left", (4.0,)))
        w.keep("proof-replay", "left", "reference tape", [level("left", -12.1)], sent_db=0.0)
        w.finish()
        assert w.store.close() == ""
        return flat(report_text(read_session(w.store.folder)))

    assert "No trimmer was turned." in said(adjusted=False)
    assert "as measured −12.10 ± 0.12 in" in said(adjusted=False)
    assert "as left −" not in said(adjusted=False)
    assert "as found and as left" not in said(adjusted=False)
    assert "Alignment" not in said(adjusted=False)
    assert "No trimmer was turned" not in said(adjusted=True)
    assert "as left −12.10 ± 0.12 in" in said(adjusted=True)


def test_what_was_ticked_off_and_the_stage_of_an_earlier_attempt_are_in_it(tmp_path: Path) -> None:
    w = begin(tmp_path)
    w.note("clean", Ticked(("plug pulled", "heads"), ("rollers",), "no swab left"))
    for _ in range(2):
        w.keep("found", "found-clean", "reference tape", [level("left", -12.1)], sent_db=0.0)
    text = flat(report_text(read_session(w.store.folder)))
    assert "plug pulled; heads; left open: rollers, because no swab left" in text
    assert "as found, after cleaning: level, left" in text


def test_a_cause_that_was_mended_does_not_hide_what_is_still_out_of_adjustment(tmp_path: Path) -> None:
    """Dirt was cleaned off, and replay reads 5 dB high in a check that turns nothing."""

    def read(w: Writer, step: str, loss: float) -> None:
        stage: Stage = "found-dirty" if step == "dirty" else "left"
        sides: tuple[Channel, ...] = ("left", "right")
        for side in sides:
            w.keep(step, stage, "record-replay", [record_level(side, 0.1), *response(side, loss, 0.1)], sent_db=-20.0)

    w = begin(tmp_path)
    read(w, "dirty", 11.0)
    w.note("clean/swab", Acted("clean"))
    read(w, "proof-record", 0.1)
    w.keep("proof-replay", "left", "reference tape", [level("left", -6.9), level("right", -12.0)], sent_db=0.0)
    w.finish()
    assert w.store.close() == ""
    top = flat(report_text(read_session(w.store.folder))).split("What it was")[0]
    assert "mended on the way. Still out of adjustment: replay level, left +" in top
