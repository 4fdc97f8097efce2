"""Sessions read inside the app: reports, histories, comparisons, labels; by key alone."""

from __future__ import annotations

import os
import stat
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from bench.session.record.index import Entry
from bench.tui import open_outside
from bench.tui.app import BenchApp
from bench.tui.screens.dialogs import HelpDialog
from bench.tui.screens.pages import PagesScreen, fit_line
from bench.tui.screens.records import RecordsScreen
from bench.tui.text import plain
from bench.tui.widgets.session_list import detail_lines, session_lines
from bench.workspace import Workspace
from tests.session.fleet_of import Machine, session
from tests.session.made_up import whole
from tests.tui.screen_driver import check_golden, says, screen_text, texts, until

SIZE = (100, 30)


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    """Two whole sessions of one machine, and one that can't be read."""
    whole(tmp_path)
    whole(tmp_path, treble_left=-3.0)
    broken = tmp_path / "sessions" / "2001-01-01-0000-broken"
    broken.mkdir()
    (broken / "session.toml").write_text("schema = ")
    return Workspace(tmp_path)


def records(workspace: Workspace) -> BenchApp:
    return BenchApp(RecordsScreen(workspace))


async def test_a_report_is_read_inside_the_app(workspace: Workspace) -> None:
    app = records(workspace)
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "enter  Read the report of")
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, PagesScreen))
        await says(pilot, "LINE-UP REPORT:")
        await says(pilot, "lines 1 to 26 of")
        assert isinstance(app.screen, PagesScreen)
        short = [plain(line) for line in app.screen._text if len(line) <= SIZE[0]]
        assert [line for line in short if line not in app.screen._wrapped] == []
        await pilot.press("space")
        await says(pilot, "lines 26 to")
        await pilot.press("up", "down", "left")
        await says(pilot, "lines 1 to 26 of")
        for _ in range(40):
            await pilot.press("space")
        last = app.screen._wrapped[-1]
        assert last in await says(pilot, last[:40])
        await pilot.press("q")
        await until(pilot, lambda: isinstance(app.screen, RecordsScreen))


async def test_a_machine_its_label_and_two_sessions_side_by_side(workspace: Workspace) -> None:
    app = records(workspace)
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "enter  Read the report of")
        await pilot.press("m")
        await says(pilot, "History of")
        assert "drift" in "\n".join(app.screen._wrapped)  # type: ignore[attr-defined]
        await pilot.press("q", "i")
        await says(pilot, "Label of")
        await pilot.press("escape", "c")
        await says(pilot, "◆")
        await pilot.press("down", "c")
        await until(pilot, lambda: isinstance(app.screen, PagesScreen))
        text = await says(pilot, "first ")
        assert "second" in text
        await pilot.press("q")
        await until(pilot, lambda: isinstance(app.screen, RecordsScreen))


async def test_all_machines_of_the_workshop_on_one_page(workspace: Workspace, tmp_path: Path) -> None:
    for machine in (Machine("Right", 3), Machine("Bright", 2, record_db=1.5), Machine("Plain", 2)):
        session(tmp_path, machine)
    app = records(workspace)
    async with app.run_test(size=(140, 60)) as pilot:
        await says(pilot, "enter  Read the report of")
        await pilot.press("a")
        text = await says(pilot, "A tape recorded on one machine, replayed on another")
        assert "Odd one out among" in text
        await pilot.press("q")
        await until(pilot, lambda: isinstance(app.screen, RecordsScreen))


async def test_one_machine_has_none_to_be_compared_with(workspace: Workspace) -> None:
    app = records(workspace)
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "enter  Read the report of")
        await pilot.press("a")
        await says(pilot, "interchange takes two machines or more, and ")


async def test_a_session_that_can_not_be_read_says_so(workspace: Workspace) -> None:
    app = records(workspace)
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "enter  Read the report of")
        await pilot.press("down", "down", "down", "enter")
        await pilot.pause(0.3)
        assert isinstance(app.screen, RecordsScreen) or "2001" in screen_text(app)


async def test_help_and_an_empty_workspace(tmp_path: Path) -> None:
    app = records(Workspace(tmp_path))
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "There are no sessions yet")
        await pilot.press("enter", "m", "c", "o", "i", "s", "down", "f1")
        await until(pilot, lambda: isinstance(app.screen, HelpDialog))
        await pilot.press("escape", "q")
        await until(pilot, lambda: app.return_value == 0)


@pytest.mark.skipif(sys.platform != "linux", reason="xdg-open is a matter of Linux")
def test_files_open_outside_without_waiting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page, told = tmp_path / "report.html", tmp_path / "told"
    assert open_outside.open_outside(page) == f"{page} is not there"
    page.write_text("")
    script = tmp_path / "xdg-open"
    script.write_text(f'#!/bin/sh\necho "$1" > {told}\n')
    script.chmod(script.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", f"{tmp_path}{os.pathsep}{os.environ['PATH']}")
    assert open_outside.open_outside(page) == f"Opened outside: {page}"
    for _ in range(200):
        if told.exists() and told.read_text():
            break
        time.sleep(0.02)
    assert told.read_text().strip() == str(page)
    monkeypatch.setenv("PATH", str(tmp_path / "empty"))
    assert "Nothing here opens files" in open_outside.open_outside(page)


def entry(**more: object) -> Entry:
    made = {
        "sessions": Path("/s"),
        "name": "2031-05-04-1410-deck",
        "machine": "Lanternhill front-room deck",
        "machine_id": "deck",
        "procedure": "Line up a cassette deck",
        "begun": datetime(2031, 5, 4, 14, 10, tzinfo=UTC),
        "done": True,
        "outcome": "All in. All 31 judged readings at 6 steps are in.",
        "reference_tape": "",
        "reference_plays": 0,
        "exercise": False,
    }
    return Entry(**(made | more))  # type: ignore[arg-type]


BROKEN_OFF = "Not finished. Broken off after “Replay level”; it can be resumed."


def test_the_list_marks_shortens_and_tells_what_is_broken() -> None:
    lines = texts(
        session_lines([entry(), entry(done=False, outcome=BROKEN_OFF), entry(problem="no TOML")], 0, 1, 100, 3)
    )
    assert lines[0].startswith("▸ 2031-05-04 14:10  Lanternhill front-room")
    assert lines[1].startswith("◆ ")
    assert BROKEN_OFF not in lines[1]
    wide = texts(session_lines([entry(done=False, outcome=BROKEN_OFF)], 0, -1, 140, 3))[0]
    assert "Not finished. Broken off after" in wide
    assert texts(detail_lines(entry(done=False, outcome=BROKEN_OFF), 80))[1] == BROKEN_OFF
    assert lines[2] == "  2031-05-04-1410-deck: no TOML"
    assert len(session_lines([entry()] * 500, 499, -1, 80, 10)) == 10


def test_lines_are_broken_between_words_and_keep_where_they_stand() -> None:
    assert fit_line("short", 20) == ["short"]
    assert fit_line("  level −0.5 ± 0.1 dB", 21) == ["  level −0.5 ± 0.1 dB"], "a line that fits stays whole"
    assert fit_line("", 20) == [""]
    assert fit_line("  level left and right are in tolerance now", 24) == [
        "  level left and right",
        "    are in tolerance now",
    ]


@pytest.mark.parametrize("size", [(80, 24), (120, 36)])
async def test_the_sessions_as_text(tmp_path: Path, size: tuple[int, int]) -> None:
    screen = RecordsScreen(Workspace(tmp_path))
    app = BenchApp(screen)
    async with app.run_test(size=size) as pilot:
        await says(pilot, "There are no sessions yet")
        screen._entries = [
            entry(),
            entry(
                outcome="Out. 2 steps are out: Replay response and Record level.",
                begun=datetime(2031, 4, 2, 9, 5, tzinfo=UTC),
            ),
            entry(done=False, outcome=BROKEN_OFF, begun=datetime(2031, 3, 1, 16, 30, tzinfo=UTC)),
            entry(
                exercise=True,
                begun=datetime(2031, 2, 1, 10, 0, tzinfo=UTC),
                outcome="All in. All 22 judged readings at 5 steps are in.",
            ),
        ]
        screen._say("")
        check_golden(f"sessions-{size[0]}x{size[1]}", await says(pilot, "enter  Read the report"))
        lines = ["LINE-UP REPORT: Lanternhill front-room deck", "", *(f"line {n}" for n in range(60))]
        app.push_screen(PagesScreen("Report of 2031-05-04-1410-deck", lines, lambda: "opened"))
        check_golden(f"report-{size[0]}x{size[1]}", await says(pilot, "line 10"))
        await pilot.press("o")
        await says(pilot, "opened")
