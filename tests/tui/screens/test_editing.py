"""Procedures and sheets edited from the chooser: in the person's editor, or in the text area; nothing is lost."""

from __future__ import annotations

import shutil
import stat
import sys
import tomllib
from pathlib import Path

import pytest
from textual.widgets import TextArea

from bench.problem import Problem
from bench.tui import editing
from bench.tui.app import BenchApp
from bench.tui.preferences import Preferences
from bench.tui.screens.chooser import ChooserScreen
from bench.tui.screens.dialogs import Confirm
from bench.tui.screens.editing import EditScreen
from bench.tui.screens.pages import PagesScreen
from bench.workspace import Workspace, shipped_procedures
from tests.tui.screen_driver import says, screen_text, until

SIZE = (100, 30)


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    """Few files, so that reading them all takes no time."""
    root = tmp_path / "bench"
    shipped = shipped_procedures()
    shutil.copytree(shipped / "sheets", root / "procedures" / "sheets")
    shutil.copy(shipped / "clean.toml", root / "procedures")
    return Workspace(root)


@pytest.fixture(autouse=True)
def no_editor(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("VISUAL", raising=False)
    monkeypatch.delenv("EDITOR", raising=False)


def chooser(workspace: Workspace, tmp_path: Path) -> BenchApp:
    return BenchApp(ChooserScreen(workspace, Preferences(tmp_path / "chooser.json")))


def test_the_editor_is_visual_then_editor_with_its_options(monkeypatch: pytest.MonkeyPatch) -> None:
    assert editing.editor() is None
    monkeypatch.setenv("EDITOR", "ed -p '> '")
    assert editing.editor() == ["ed", "-p", "> "]
    monkeypatch.setenv("VISUAL", "code --wait")
    assert editing.editor() == ["code", "--wait"]
    monkeypatch.setenv("VISUAL", "'unclosed")
    assert editing.editor() == ["ed", "-p", "> "]


@pytest.mark.skipif(sys.platform == "win32", reason="the editor of this test is a shell script")
def test_an_editor_edits_and_one_that_is_not_there_is_named(tmp_path: Path) -> None:
    script, file = tmp_path / "my editor", tmp_path / "x.toml"
    script.write_text('#!/bin/sh\necho "# by hand" >> "$2"\n')
    script.chmod(script.stat().st_mode | stat.S_IXUSR)
    file.write_text("format = 1\n")
    assert editing.run_editor([str(script), "--wait"], file) == ""
    assert file.read_text() == "format = 1\n# by hand\n"
    assert "set EDITOR to an editor that is there" in editing.run_editor([str(tmp_path / "gone")], file)


def test_a_copy_keeps_every_comment_and_says_that_it_is_your_own(workspace: Workspace) -> None:
    path = workspace.procedures / "clean.toml"
    first, second = editing.copy_to_own(path), editing.copy_to_own(path)
    assert (first.name, second.name) == ("clean-own.toml", "clean-own-2.toml")
    before, after = path.read_text().splitlines(), first.read_text().splitlines()
    changed = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
    assert len(changed) == 1
    assert changed[0][0].startswith("title = ")
    title = tomllib.loads(path.read_text())["title"]
    assert tomllib.loads(first.read_text())["title"] == f"{title}, own"
    assert tomllib.loads(second.read_text())["title"] == f"{title}, own 2"


def test_a_text_is_saved_as_it_was_but_for_what_was_typed(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    raw = b"# a comment \xe2\x80\x94 kept\r\nformat = 1\t# and this\r\n"
    path.write_bytes(raw)
    text, replaced = editing.read_text(path)
    assert replaced == 0
    editing.write_text(path, text)
    assert path.read_bytes() == raw
    editing.write_text(path, text + "title = 'x'\n")
    assert path.read_bytes() == raw + b"title = 'x'\r\n"


def test_what_steers_a_terminal_is_shown_as_a_sign_and_what_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text("a = '\x1b[2J\u202e'\n", encoding="utf-8")
    assert editing.read_text(path) == ("a = '\ufffd[2J\ufffd'\n", 2)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(Problem, match="no UTF-8 text"):
        editing.read_text(path)


async def test_a_procedure_is_edited_in_the_text_area_and_the_change_stands_in_the_list(
    workspace: Workspace, tmp_path: Path
) -> None:
    app = chooser(workspace, tmp_path)
    path = workspace.procedures / "clean.toml"
    before = path.read_text()
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Clean the tape path")
        await pilot.press("e")
        await until(pilot, lambda: isinstance(app.screen, EditScreen))
        area = app.screen.query_one(TextArea)
        at = before.index("title = ")
        area.move_cursor((before[:at].count("\n"), len('title = "')))
        await pilot.press(*"My", "space")
        await pilot.press("f4")
        await says(pilot, "Saved. Nothing is wrong with it.")
        assert path.read_text() == before.replace('title = "', 'title = "My ', 1)
        await pilot.press("f10")
        await until(pilot, lambda: "My Clean" in screen_text(app).splitlines()[2])


async def test_problems_are_listed_with_their_lines_and_the_choice_is_broken(
    workspace: Workspace, tmp_path: Path
) -> None:
    app = chooser(workspace, tmp_path)
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Clean the tape path")
        await pilot.press("e")
        await until(pilot, lambda: isinstance(app.screen, EditScreen))
        await pilot.press(*"nonsense", "equals_sign", "1", "enter", "f4")
        text = await says(pilot, "Saved. Line 1: ")
        assert "nonsense" in text
        await pilot.press("f10")
        await until(pilot, lambda: isinstance(app.screen, PagesScreen))
        text = await says(pilot, "Problems of clean.toml")
        assert "line 1: nonsense" in text
        await pilot.press("q")
        await says(pilot, "Cannot be used:")


async def test_what_was_typed_and_not_saved_is_asked_about(workspace: Workspace, tmp_path: Path) -> None:
    app = chooser(workspace, tmp_path)
    path = workspace.procedures / "clean.toml"
    before = path.read_text()
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Clean the tape path")
        await pilot.press("e")
        await until(pilot, lambda: isinstance(app.screen, EditScreen))
        await pilot.press("x", "f10")
        await until(pilot, lambda: isinstance(app.screen, Confirm))
        await pilot.press("n")
        await until(pilot, lambda: isinstance(app.screen, EditScreen))
        await pilot.press("f10", "y")
        await until(pilot, lambda: isinstance(app.screen, ChooserScreen))
        assert path.read_text() == before


async def test_a_new_one_from_a_shipped_one_by_one_key(workspace: Workspace, tmp_path: Path) -> None:
    app = chooser(workspace, tmp_path)
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Clean the tape path")
        await pilot.press("c")
        await says(pilot, "Copied to clean-own.toml; e edits it.")
        await until(pilot, lambda: "Clean the tape path, own" in screen_text(app).splitlines()[2])
        await pilot.press("down", "c")
        await until(pilot, lambda: list((workspace.sheets / "machines").glob("*-own.toml")))


async def test_a_line_without_a_file_says_so(workspace: Workspace, tmp_path: Path) -> None:
    app = chooser(workspace, tmp_path)
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Clean the tape path")
        await pilot.press("up", "e")
        await says(pilot, "there is no file on this line")
