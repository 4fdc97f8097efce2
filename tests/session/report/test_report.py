"""The report is self-contained, accessible and complete, and contains nothing active."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from bench.measure.method import Method
from bench.measure.reading import Channel, NoReading
from bench.problem import Problem
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import (
    Accepted,
    Acted,
    Answered,
    Decided,
    Disturbed,
    InterfaceSheetWritten,
    NotApplicable,
    Noted,
    Overridden,
    Repeated,
    SignedOff,
    Skipped,
    SoundLost,
    Ticked,
    Turned,
    TurnedBack,
)
from bench.procedure.state.exercise_events import Debriefed, FaultOutcome
from bench.session.record.reader import read_session
from bench.session.record.steps import StepCaution, StepFacts
from bench.session.report.plain_text import report_text
from bench.session.report.report import report_html, write_report
from tests.session.made_up import STEPS, begin, failed, level, record_level, response, whole
from tests.session.page import Page, grid

SESSIONS = Path(__file__).parents[3] / "sessions"
HOSTILE = (
    '<script>alert(1)</script> "><img src=x onerror=alert(2)> {{7*7}} [/foo] [@click=app.quit]\x1b[2J\u202e &amp; ]]>'
)


@pytest.fixture(name="folder", scope="module")
def _folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return whole(tmp_path_factory.mktemp("session"))


@pytest.fixture(name="html", scope="module")
def _html(folder: Path) -> str:
    return report_html(read_session(folder))


@pytest.fixture(name="page", scope="module")
def _page(html: str) -> Page:
    return Page(html)


def table_of(page: Page, name: str) -> list[list[str]]:
    for region in page.root.all("section"):
        if region.attributes.get("aria-label") == f"Table: {name}":
            return [[cell.text for cell in row] for row in grid(region.all("table")[0])]
    raise AssertionError(name)


# ---------------------------------------------------------------- how it is made


def test_it_is_well_formed_with_a_language_and_one_title(page: Page) -> None:
    assert page.wrong == []
    assert page.root.all("html")[0].attributes["lang"] == "en"
    assert "Lanternhill two-head deck" in page.root.all("title")[0].text
    ids = [e.attributes["id"] for e in page.root.all() if "id" in e.attributes]
    assert len(ids) == len(set(ids))


def test_it_stands_alone(page: Page, html: str) -> None:
    for element in page.root.all():
        for name, value in element.attributes.items():
            assert not name.startswith("on")
            if name in {"src", "href", "xlink:href", "srcset", "action", "data", "poster"}:
                assert value.startswith("#")
    assert not page.root.all("script", "link", "iframe", "object", "embed", "img", "form", "base")
    assert "http" not in html.replace("http-equiv", "")
    assert "@import" not in html
    assert all(target.startswith("#") for target in re.findall(r"url\(([^)]*)\)", html))
    ids = {e.attributes["id"] for e in page.root.all() if "id" in e.attributes}
    wanted = {v[1:] for e in page.root.all() for k, v in e.attributes.items() if k.endswith("href")}
    wanted |= set(re.findall(r"url\(#([^)]*)\)", html))
    assert wanted
    assert wanted <= ids


def test_headings_go_down_one_at_a_time(page: Page) -> None:
    levels = [int(e.tag[1]) for e in page.root.all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    for section in page.root.all("section"):
        labelled = section.attributes.get("aria-labelledby")
        if labelled:
            assert any(e.attributes.get("id") == labelled for e in section.all("h2"))
        else:
            assert section.attributes["aria-label"]


def test_tables_have_headers_for_every_cell(page: Page) -> None:
    tables = page.root.all("table")
    assert len(tables) == 3
    for table in tables:
        assert table.all("caption")[0].text
        for header in table.all("th"):
            assert header.attributes["scope"] in {"col", "row", "colgroup", "rowgroup"}
        assert not table.all("thead")[0].all("td")
        rows = grid(table)  # fails where cells overlap or are missing
        heads = len(table.all("thead")[0].all("tr"))
        for row in rows[heads:]:
            assert row[0].tag == "th"


def test_pictures_have_words(page: Page) -> None:
    pictures = page.root.all("svg")
    told = [p for p in pictures if "aria-hidden" not in p.attributes]
    responses, azimuth = told
    assert responses.attributes["aria-label"].lower().count("as found, after cleaning between") == 2
    assert azimuth.attributes["aria-label"].startswith("Azimuth: replay, after cleaning 21.40 ± 0.40 µs")
    for picture in told:
        assert picture.attributes["role"] == "img"
        assert not picture.all("text")  # letters are paths: no font is needed
    assert "−14.25" in told[0].attributes["aria-label"]


def test_shapes_stand_beside_words_and_are_not_read_out(page: Page) -> None:
    signs = [e for e in page.root.all("span") if e.has("sign")]
    assert signs
    assert all(s.attributes["aria-hidden"] == "true" for s in signs)
    verdicts = {e.text for e in page.root.all("span") if e.has("verdict")}
    assert verdicts == {"✓ in"}


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, "contrast ratio" and "relative luminance"."""

    def luminance(colour: str) -> float:
        parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
        red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_every_colour_of_text_is_strong_enough(html: str) -> None:
    """WCAG 2.2 success criterion 1.4.3: 4.5 to 1."""
    assert round(contrast("#000000", "#ffffff"), 2) == 21
    colours = dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})", html))
    for name in ("ink", "muted", "oxide", "in", "out", "close", "none"):
        for ground in ("#ffffff", colours["wash"]):
            assert contrast(colours[name], ground) >= 4.5


# ---------------------------------------------------------------- what it says


def test_it_says_how_it_came_out(page: Page) -> None:
    result = next(e for e in page.root.all("div") if e.has("result"))
    assert result.text == "✓ All in All 55 judged readings at 3 steps are in."
    assert result.has("in")


def test_it_names_the_steps_that_are_out(tmp_path: Path) -> None:
    page = Page(report_html(read_session(whole(tmp_path, treble_left=5.5))))
    result = next(e for e in page.root.all("div") if e.has("result"))
    worst = "response, left, 12.5 kHz: −7.12 ± 0.11 dB"
    cause = "worn replay gap: almost certainly, 99 %"
    assert result.text == f"✗ Out 1 step is out: Record-to-replay as left ({worst}). What was wrong: {cause}."
    accepted = next(s for s in page.root.all("section") if s.attributes.get("aria-labelledby") == "open").text
    assert "Accepted, Record-to-replay as left: response, left, record-replay (out) at 4 kHz" in accepted
    assert "; response, right, record-replay (out) at 4 kHz, 6.3 kHz" in accepted
    assert accepted.endswith("10 kHz and 12.5 kHz; because the owner wants the tape finished today")


def test_the_two_sentences(page: Page) -> None:
    said = page.root.all("section")[0].text.replace("\N{NO-BREAK SPACE}", " ")
    assert "Cleaning gave back 7.75 ± 0.16 dB of treble at 12.5 kHz (record-replay, left" in said
    assert "The line-up raised the treble at 12.5 kHz by 5.88 ± 0.16 dB" in said


def test_the_job_and_the_instruments(page: Page) -> None:
    facts = {dt.text: dd.text for dt, dd in zip(page.root.all("dt"), page.root.all("dd"), strict=True)}
    assert facts["Machine"] == "Lanternhill two-head deck, 2 heads"
    assert facts["Interface calibration"] == "levels in dBFS: no interface sheet"
    assert facts["Instruments"] == "practice machine, 48 kHz"
    assert facts["Reference level"] == "250 nWb/m (DIN)"
    assert facts["Reference tape"] == "Lanternhill cassette reference tape: 3 passes in this session"


def test_the_report_of_an_interface_is_about_no_machine(tmp_path: Path) -> None:
    steps = (StepFacts("response", "Response", "interface"), StepFacts("sheet", "Keep it as its sheet", "by-hand"))
    w = begin(tmp_path, steps=steps, port="Deck In (2)")
    w.keep("response", "left", "machine", [*response("left", 0.1), level("left", -12.0)])
    w.finish()
    session = read_session(w.store.folder)
    page = Page(report_html(session)).root
    assert page.all("h1")[0].text == "Deck In (2)"
    assert [dt.text for dt in page.all("dt")] == ["Sample rate"]
    for text in (page.text, report_text(session)):
        assert "Lanternhill two-head deck" not in text
        assert "no interface sheet" not in text
        assert "gave back" not in text
        assert "Response, interface" in text
    assert next(e.text for e in page.all("th") if e.attributes.get("scope") == "rowgroup") == "Interface"


def test_what_no_job_did_it_does_not_speak_of(tmp_path: Path) -> None:
    """A job without a trimmer has no line-up; nor has one that turns azimuth for a tape, and turns it back."""
    checks = tuple(s for s in STEPS if s.kind != "adjust")
    for name, steps, events, headings in (
        ("check", checks, (Acted("clean"),), {"cleaning"}),
        ("uncleaned", checks, (), set()),
        ("foreign", STEPS, (Turned("replay azimuth", (9.0,)), TurnedBack("replay azimuth", -9.0)), set()),
        ("line-up", STEPS, (Acted("clean"), Turned("replay level left", (9.0,))), {"cleaning", "the line-up"}),
    ):
        w = begin(tmp_path / name, steps=steps)
        for event in events:
            w.note("clean/swab", event)
        w.keep("proof-replay", "left", "reference tape", [level("left", -12.0)])
        session = read_session(w.store.folder)
        found = {h.text for h in Page(report_html(session)).root.all("h2") if h.text.endswith("gave back")}
        assert found == {f"What {work} gave back" for work in headings}
        assert set(re.findall(r"^What (.*) gave back$", report_text(session), re.MULTILINE)) == headings


def test_the_verdict_table_has_found_and_left(page: Page) -> None:
    table = grid(page.root.all("table")[0])
    rows = [[cell.text for cell in row] for row in table]
    heads = ["Quantity", "Channel", "Before cleaning", "After cleaning", "As left", "Unit", "Target", "Verdict"]
    assert rows[0] == heads
    assert rows[1] == ["Reference tape"] * 8
    assert rows[2] == [
        "Level (a) 315 Hz, 0 dB; re full-scale sine",
        "left",
        "–",
        "−13.40 ± 0.12 ✗ out",
        "−12.04 ± 0.12",
        "dBFS",
        "−12 ± 0.5",
        "✓ in",
    ]
    assert [row[1] for row in rows if row[0].startswith("Record-to-replay level")] == ["left", "right"]
    assert "(a) steady tone, tracked" in page.root.text
    assert "common practice without a source where no source is named" in page.root.text


def test_the_response_tables(page: Page) -> None:
    rows = table_of(page, "Response, record-replay")
    assert rows[0][:2] == ["Channel", "Stage"]
    assert rows[0][-1] == "12.5 kHz"
    assert rows[1][:2] == ["Limits"] * 2
    assert rows[1][-1] == "0 ± 3"
    assert [row[:2] for row in rows[2:]] == [
        [side, stage] for side in ("Left", "Right") for stage in ("Before cleaning", "After cleaning", "As left")
    ]
    assert [row[-1] for row in rows[2:5]] == ["−14.25 ± 0.11 ✗ out", "−6.50 ± 0.11 ✗ out", "−0.62 ± 0.11 ✓ in"]
    assert len(rows[0]) == 2 + 12
    assert "Before cleaning" not in [row[1] for row in table_of(page, "Response, reference tape")]


def test_it_says_by_what_it_was_measured(page: Page, folder: Path) -> None:
    foot = page.root.all("footer")[0].text
    sha = next(i.sha256 for i in read_session(folder).inputs if i.path == "inputs/line-up.toml")
    assert sha in foot
    assert "tapebench 0.1.0" in foot
    assert folder.name in foot


def test_of_what_it_was_measured_by_a_hidden_fault_is_none(folder: Path) -> None:
    session = read_session(folder)
    fault = replace(session.inputs[0], path="inputs/sheets/faults/dirty-head.toml")
    page = Page(report_html(replace(session, inputs=(*session.inputs, fault))))
    foot = page.root.all("footer")[0].text
    assert "inputs/line-up.toml" in foot
    assert "faults/" not in foot


def test_cautions_notes_and_signatures(page: Page) -> None:
    text = page.root.text
    assert "Solvents. Flammable: ventilate, no sparks." in text
    assert "Given" not in text
    assert "Trimmer of the left channel is noisy; lacquered. 10:40" in text
    assert "Trimmers turned: replay level left: adjusted 3 times" in text
    assert "The Lanternhill workshop accepts the machine as left" in text
    assert "Received by the owner" in text


def test_what_was_left_out_is_said(tmp_path: Path) -> None:
    w = begin(tmp_path)
    w.note("found", Skipped("no reference tape at hand"))
    w.note("proof-replay", Overridden("the owner insists"))
    w.note("proof-record", SoundLost("the device went away"))
    w.keep("proof-replay", "left", "reference tape", [level("left", -12.0), failed("left", 10000.0)])
    w.note("proof-record", Skipped("no time"))
    w.finish()
    page = Page(report_html(read_session(w.store.folder)))
    result = next(e for e in page.root.all("div") if e.has("result"))
    assert "No reading: Reference tape as left." in result.text
    assert "Skipped: Record-to-replay as left." in result.text
    assert "Not measured: Replay level." in result.text
    text = page.root.text
    assert "Skipped, Reference tape as found: no reference tape at hand" in text
    assert "Overridden, Reference tape as left: reference tape in an uncleaned machine: the owner insists" in text
    assert "Sound, Record-to-replay as left: sound lost: the device went away" in text
    assert "left, as measured: no reading, because the tone was never steady for half a second" in text
    assert "What cleaning gave back" not in text


def test_a_broken_off_session_says_so(tmp_path: Path) -> None:
    page = Page(report_html(read_session(whole(tmp_path, finish=False))))
    result = next(e for e in page.root.all("div") if e.has("result"))
    assert result.text.startswith("– Not finished Broken off after “Sign off”; it can be resumed.")


def test_an_empty_session_has_a_report(tmp_path: Path) -> None:
    page = Page(report_html(read_session(begin(tmp_path).store.folder)))
    assert page.wrong == []
    assert "Broken off before its first step" in page.root.text
    assert not page.root.all("table")


def test_without_its_inputs_a_session_still_has_a_report(tmp_path: Path) -> None:
    folder = whole(tmp_path)
    shutil.rmtree(folder / "inputs")
    page = Page(report_html(read_session(folder)))
    assert "All 55 judged readings at 3 steps are in." in page.root.text


@pytest.mark.parametrize("channel", ["left", "mono"])
def test_one_channel_and_one_tone(tmp_path: Path, channel: Channel) -> None:
    w = begin(tmp_path)
    one = [(replace(r, channel=channel), t) for r, t in response("left", 2.0)]
    w.keep("proof-replay", "left", "reference tape", one, sent_db=-20.0)
    w.keep("proof-record", "left", "record-replay", one[:1], sent_db=-20.0)
    page = Page(report_html(read_session(w.store.folder)))
    assert page.wrong == []
    assert len(page.root.all("figure")) == 1  # one tone is no curve


# ---------------------------------------------------------------- nothing in it acts


def test_hostile_text_is_only_text(tmp_path: Path) -> None:
    cautions = (StepCaution(HOSTILE, HOSTILE),)
    w = begin(
        tmp_path,
        steps=tuple(replace(step, title=HOSTILE, target=HOSTILE, cautions=cautions) for step in STEPS),
        **dict.fromkeys(("machine", "tape", "reference_tape", "procedure", "speed", "port", "calibration"), HOSTILE),
    )
    happened: tuple[Event, ...] = (
        Noted(HOSTILE),
        Answered(HOSTILE, right=HOSTILE),
        Skipped(HOSTILE, HOSTILE),
        Overridden(HOSTILE),
        SoundLost(HOSTILE),
        Turned(HOSTILE, (1.0,)),
        Accepted(HOSTILE),
        Repeated(),
        Ticked((HOSTILE,)),
        NotApplicable(HOSTILE, HOSTILE),
        Decided(HOSTILE, 1, answer=HOSTILE, passed_over=(HOSTILE,)),
        InterfaceSheetWritten(HOSTILE),
        Debriefed((FaultOutcome(HOSTILE, HOSTILE, "missed", named=False),), wrongly_named=(HOSTILE,)),
        SignedOff(HOSTILE, HOSTILE),
    )
    for event in happened:
        w.note("replay-level", event)
    reading, target = level("left", -9.0)
    hostile = replace(reading, method=Method(HOSTILE), reference=HOSTILE)
    target = target.model_copy(update={"source": HOSTILE})
    w.keep(HOSTILE, "left", "reference tape", [(hostile, target)], because=HOSTILE)
    w.keep(
        HOSTILE,
        "left",
        "reference tape",
        [(NoReading("level", "left", HOSTILE, method=Method(HOSTILE), reference=HOSTILE), target)],
    )
    curve = [(replace(r, method=Method(HOSTILE), reference=HOSTILE), target) for r, _ in response("left", 3)]
    w.keep(HOSTILE, "left", "reference tape", curve)
    html = report_html(read_session(w.store.folder))
    page = Page(html)
    assert page.wrong == []
    assert not page.root.all("script", "img")
    assert not [a for e in page.root.all() for a in e.attributes if a.startswith("on")]
    assert "{{7*7}}" in page.root.text
    assert "49" not in page.root.all("h1")[0].text
    assert page.root.all("h1")[0].text.startswith("<script>alert(1)</script>")
    assert not {c for c in html if not c.isprintable()} - {"\n", "\N{NO-BREAK SPACE}"}


# ---------------------------------------------------------------- on disk


def test_both_files_are_written_and_again(folder: Path) -> None:
    assert write_report(folder) == folder / "report.html"
    first = (folder / "report.html").read_bytes()
    assert (folder / "readings.csv").read_text().startswith("id,time,step")
    write_report(folder)
    assert (folder / "report.html").read_bytes() == first
    assert sorted(p.name for p in folder.iterdir()) == ["inputs", "readings.csv", "report.html", "session.toml"]


def test_a_report_that_cannot_be_written_is_said(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> int:
        raise OSError(28, os.strerror(28))

    session = read_session(folder)
    monkeypatch.setattr("bench.session.report.report.read_session", lambda _: session)
    monkeypatch.setattr("bench.session.report.report.save_file", refused)
    with pytest.raises(Problem, match="the report cannot be written: no space left on device: make room"):
        write_report(folder)


@pytest.mark.long
@pytest.mark.skipif(shutil.which("chromium") is None, reason="no Chromium here")
@pytest.mark.parametrize("worked", ["", *sorted(f.parent.name for f in SESSIONS.glob("*/session.toml"))])
def test_it_prints_on_two_pages(folder: Path, tmp_path: Path, worked: str) -> None:
    """A made-up session, and each whole line-up that comes with the program."""
    if worked:
        folder = Path(shutil.copytree(SESSIONS / worked, tmp_path / worked))
    write_report(folder)
    subprocess.run(
        [
            "chromium",
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            f"--user-data-dir={tmp_path / 'profile'}",
            f"--print-to-pdf={tmp_path / 'report.pdf'}",
            "--no-pdf-header-footer",
            f"file://{folder / 'report.html'}",
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    assert len(re.findall(rb"/Type\s*/Page\b", (tmp_path / "report.pdf").read_bytes())) == 2


def test_a_clock_that_was_set_back_changes_no_order_and_is_said(tmp_path: Path) -> None:
    w = begin(tmp_path)
    w.note("found", Noted("first"))
    w.time -= timedelta(days=400)
    w.note("found", Noted("second"))
    w.keep("found", "found-clean", "reference tape", [level("left", -12.0)])
    w.finish()
    w.store.close()
    session = read_session(w.store.folder)
    assert [e.text for e in of_kind(session.events, Noted)] == ["first", "second"]
    text = Page(report_html(session)).root.text
    assert "Clock: it was set back meanwhile; entries stand in the order in which they happened" in text
    assert "3 May 2026, 10:12 to 10:12" in text
    assert text.index(" first") < text.index(" second")


def test_steps_left_out_and_passed_over_are_named_and_not_missed(tmp_path: Path) -> None:
    w = begin(tmp_path, steps=tuple(s for s in STEPS if s.id not in ("replay-level", "found")))
    w.note("replay-level", NotApplicable("Replay level", "open reel only; this is a cassette"))
    w.note("found", NotApplicable("Reference tape as found", "open reel only; this is a cassette"))
    w.note("sign", Decided("sign", 3, answer="yes", passed_over=("proof-replay",)))
    w.keep("proof-record", "left", "record-replay", [record_level("left", 0.0)])
    w.note("proof-record", Disturbed(("replay level",)))
    w.finish()
    page = Page(report_html(read_session(w.store.folder)))
    result = next(e for e in page.root.all("div") if e.has("result")).text
    assert "Not measured" not in result
    assert "To be checked again, because something was adjusted since: replay level." in result
    assert (
        "Not applicable, Replay level and Reference tape as found: open reel only; this is a cassette" in page.root.text
    )
    assert "Not needed, Reference tape as left: by the decision at Sign off" in page.root.text
