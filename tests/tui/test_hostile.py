"""Text from procedures, sheets, devices and keyboards that tries to break, colour or forge a screen."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from rich.cells import cell_len

from bench.procedure.model.steps import Caution
from bench.procedure.state.snapshot import CheckRow, Prompt, Snapshot, ToneRow
from bench.tui.app import BenchApp
from bench.tui.choices import Option, Row
from bench.tui.preferences import Preferences
from bench.tui.screens.bench import BenchScreen
from bench.tui.screens.chooser import ChooserScreen
from bench.tui.screens.countdown import CountDown
from bench.tui.screens.dialogs import HelpDialog
from bench.tui.screens.editing import EditScreen
from bench.tui.screens.pages import PagesScreen
from bench.tui.screens.records import RecordsScreen
from bench.workspace import Workspace
from tests.tui import samples
from tests.tui.screen_driver import ScriptedJob, bench_app, screen_text, until
from tests.tui.screens.test_records import entry

NASTY = (
    "[/foo] [@click=app.quit]quit[/] [bold red]x \\[ [/ $x {x} "
    "\x1b[2J\x1b]0;owned\x07\x9b31m\x00\x08 \u202e\u2066 rtl \u05e9\u05dc\u05d5\u05dd "
    "👩‍👩‍👧 🇩🇪 漢字 Z\u0301\u0302\u0303\u0304\u0305 \u200b\u2028 " + "long" * 2500
)


def nasty_step() -> Snapshot:
    step = samples.step(
        title=NASTY, do=NASTY, good=NASTY, why=NASTY, if_not=NASTY, cautions=(Caution(hazard="mains", say=NASTY),)
    )
    job = replace(samples.JOB, machine=NASTY, tape=NASTY, reference_tape=NASTY, speed=NASTY, equalisation=NASTY)
    sound = replace(samples.SOUND, port=replace(samples.PORT, name=NASTY, detail=NASTY))
    return samples.adjusting(step=step, job=job, sound=sound, sending=NASTY, notice=NASTY)


def nasty_faces() -> dict[str, Snapshot]:
    base = nasty_step()
    bare = replace(base, gauges=(), trimmers=(), can_accept=False)
    tone = ToneRow("t", NASTY, "waiting", 1000.0)
    return {
        "gauges": replace(
            base,
            gauges=tuple(replace(g, label=NASTY, direction=NASTY) for g in base.gauges),
            trimmers=tuple(replace(t, name=NASTY) for t in base.trimmers),
            prompt=Prompt("go-on", NASTY),
        ),
        "reason": replace(
            base, gauges=(replace(base.gauges[0], reading=samples.reading(None, reason=NASTY)),), unsaved=NASTY
        ),
        "tones": replace(bare, tones=(tone, *samples.tone_rows(3))),
        "checks": replace(bare, checks=(CheckRow(NASTY, ticked=False),), prompt=Prompt("go-on", NASTY)),
        "choice": replace(bare, prompt=Prompt("choice", NASTY, choices=(NASTY, NASTY))),
        "number": replace(bare, prompt=Prompt("number", NASTY, unit=NASTY)),
        "flutter": replace(
            bare,
            flutter=tuple(replace(p, part=NASTY) for p in samples.fluttering().flutter),
            spectrum=samples.fluttering().spectrum,
        ),
        "curves": replace(
            base,
            gauges=tuple(replace(g, label=NASTY, direction=NASTY) for g in samples.biased(passed=False).gauges),
            curves=tuple(replace(c, label=NASTY, unit=NASTY) for c in samples.biased().curves),
        ),
        "answered": replace(bare, prompt=Prompt("go-on", NASTY)),
        "standing": replace(bare, notice="", to_check_again=(NASTY, NASTY)),
        "told": replace(bare, prompt=Prompt("words", NASTY), to_sign=(NASTY,), to_choose_by=(NASTY,)),
        "interlock": replace(bare, prompt=Prompt("confirm", NASTY, interlock=True)),
        "ending": replace(
            samples.ended(),
            outcome=replace(samples.ended().outcome, said=NASTY),  # type: ignore[type-var]
        ),
    }


def check(app: BenchApp, width: int) -> None:
    text = screen_text(app)
    assert all(line.isprintable() for line in text.splitlines())
    assert all(cell_len(line) <= width for line in text.splitlines())
    assert "\u202e" not in text


@pytest.mark.parametrize("panel", nasty_faces())
async def test_every_face_of_the_bench(panel: str) -> None:
    app, job = bench_app(nasty_faces()[panel])
    job.kept = NASTY
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "long" in screen_text(app))
        check(app, 80)
        bottom = screen_text(app).splitlines()[-1]
        assert "F1 help" in bottom, "the bottom of the screen was pushed away"


async def test_the_whole_card_and_typed_words() -> None:
    app, job = bench_app(nasty_step())
    async with app.run_test(size=(100, 30)) as pilot:
        await until(pilot, lambda: "long" in screen_text(app))
        await pilot.press("w")
        await until(pilot, lambda: "read on" in screen_text(app))
        check(app, 100)
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await pilot.press("n", *"[/x]", "enter")
        await until(pilot, lambda: job.desk.posted)
        check(app, 100)


async def test_hints_and_count_down() -> None:
    base = nasty_step()
    assert base.step is not None
    step = replace(base.step, hints=(NASTY, NASTY, NASTY))
    app, _ = bench_app(replace(base, step=step, prompt=Prompt("go-on", NASTY, sounds=True)))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "long" in screen_text(app))
        for key in ("i", "i", "i", "i"):
            await pilot.press(key)
            await until(pilot, lambda: "next hint" in screen_text(app) or "read on" in screen_text(app))
            check(app, 80)
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await pilot.press("space")
        await until(pilot, lambda: isinstance(app.screen, CountDown))
        check(app, 80)
        await pilot.press("escape", "f1")
        await until(pilot, lambda: isinstance(app.screen, HelpDialog))
        check(app, 80)


async def test_sessions_and_pages(tmp_path: Path) -> None:
    records = RecordsScreen(Workspace(tmp_path))
    app = BenchApp(records)
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "no sessions yet" in screen_text(app))
        nasty = dict.fromkeys(("name", "machine", "procedure", "outcome"), NASTY)
        records._entries = [entry(**nasty), entry(**nasty, problem=NASTY), entry(**nasty, done=False)]
        records._say(NASTY)
        for key in ("down", "c", "down", "up"):
            await pilot.press(key)
            await pilot.pause()
            check(app, 80)
            assert "F1 help" in screen_text(app).splitlines()[-1]
        app.push_screen(PagesScreen(NASTY, [NASTY] * 50, lambda: NASTY))
        await until(pilot, lambda: "lines 1 to" in screen_text(app))
        for key in ("space", "down", "o", "f1"):
            await pilot.press(key)
            await pilot.pause()
            check(app, 80)


async def test_a_file_in_the_text_area(tmp_path: Path) -> None:
    path = tmp_path / "[red]x\u202e.toml"
    path.write_text(NASTY, encoding="utf-8")
    app = BenchApp(EditScreen(path, Workspace(tmp_path)))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "signs that can steer" in screen_text(app))
        check(app, 80)
        await pilot.press("f4")
        await until(pilot, lambda: "Saved." in screen_text(app))
        check(app, 80)


async def test_a_refusal_is_said_on_the_chooser(tmp_path: Path) -> None:
    screen = ChooserScreen(Workspace(tmp_path), Preferences(tmp_path / "state.json"))
    app = BenchApp(screen)
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "none found" in screen_text(app))
        option = Option(NASTY, NASTY, NASTY, (NASTY, NASTY), NASTY)
        screen._rows = [Row("procedure", NASTY, (option, option)), Row("port", "sound", (option,))]
        screen.say(NASTY)
        await until(pilot, lambda: "long" in screen_text(app))
        check(app, 80)
        assert "F1 help" in screen_text(app).splitlines()[-1]
        await pilot.press("enter", "down", "right", "left")
        await pilot.pause()
        check(app, 80)


async def test_markup_in_a_question_is_text() -> None:
    app, job = bench_app(samples.asking("reason", prompt=Prompt("reason", "[/foo] [@click=app.quit]why[/]")))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "[@click" in screen_text(app))
        await pilot.press("space")
        await until(pilot, lambda: "enter keeps it" in screen_text(app))
        assert screen_text(app).count("[/foo] [@click=app.quit]why[/]") == 2
        await pilot.press("escape")
        assert isinstance(job, ScriptedJob)
