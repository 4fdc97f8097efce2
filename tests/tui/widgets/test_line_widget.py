from __future__ import annotations

import ast
import inspect
from pathlib import Path
from typing import Any

from textual.app import App, ComposeResult
from textual.geometry import Region
from textual.screen import Screen
from textual.widget import Widget

import bench.tui
from bench.tui.widgets.line_widget import (
    ROLE_CLASSES,
    Line,
    LineWidget,
    clip_line,
    justified,
    line_width,
    side_by_side,
)
from tests.tui.screen_driver import texts


class Three(LineWidget):
    words: tuple[str, ...] = ("one", "two", "three")

    def __init__(self) -> None:
        super().__init__()
        self.refreshed: list[Region] = []

    def lines(self, width: int, height: int) -> list[Line]:
        return [[(word, "strong")] for word in self.words]

    def refresh(self, *regions: Region, **more: bool) -> Three:
        self.refreshed += regions
        super().refresh(*regions, **more)
        return self


class Dialog(Screen[None]):
    COMPONENT_CLASSES = ROLE_CLASSES


class Bare(App[None]):
    def get_default_screen(self) -> Screen[None]:
        return Dialog()

    CSS = "Three { width: 10; height: 4; } LineWidget > .role--strong { text-style: bold; }"

    def compose(self) -> ComposeResult:
        yield Three()


async def test_rows_are_drawn_and_only_those_that_changed_again() -> None:
    async with Bare().run_test(size=(20, 6)) as pilot:
        widget = pilot.app.query_one(Three)
        await pilot.pause()
        assert [widget.render_line(y).text for y in range(4)] == [
            "one       ",
            "two       ",
            "three     ",
            "          ",
        ]
        widget.refreshed.clear()
        widget.repaint()
        assert widget.refreshed == []
        widget.words = ("one", "2", "three")
        widget.repaint()
        assert widget.refreshed == [Region(0, 1, 10, 1)]
        assert widget.render_line(1).text == "2         "
        widget.words = ("one",)
        widget.repaint()
        assert widget.refreshed[1:] == [Region(0, 1, 10, 1), Region(0, 2, 10, 1)]


async def test_what_changed_while_hidden_is_drawn_when_shown() -> None:
    async with Bare().run_test(size=(20, 6)) as pilot:
        widget = pilot.app.query_one(Three)
        await pilot.pause()
        assert widget.render_line(0).text == "one       "
        widget.display = False
        await pilot.pause()
        widget.words = ("new",)
        widget.repaint()
        widget.display = True
        await pilot.pause()
        assert widget.render_line(0).text == "new       "
        assert widget.render_line(1).text == "          "


def test_two_ends_never_meet() -> None:
    assert texts([justified([("replay level", "")], [("in", "")], 20)]) == ["replay level      in"]
    assert texts([justified([("replay level", "")], [("too close", "")], 16)]) == ["repla… too close"]
    assert line_width(justified([("a", "")], [("b", "")], 9)) == 9


def test_a_line_is_trimmed_across_spans() -> None:
    assert texts([clip_line([("abc", "in"), ("def", "out")], 5)]) == ["abcd…"]
    assert clip_line([("abc", "in")], 3) == [("abc", "in")]


def test_blocks_stand_side_by_side() -> None:
    assert texts(side_by_side([[("a", "")], [("b", "")]], [[("x", "")]], 3, 1)) == ["a   x", "b"]


def test_no_name_of_ours_hides_one_of_textual() -> None:
    """An attribute that Textual uses for itself, set by us, hangs or breaks a screen without a word."""
    meant = {
        *("compose", "render_line", "get_system_commands", "get_theme_variable_defaults", "action_command_palette"),
        *("check_action", "_handle_exception", "_print_error_renderables", "theme", "ansi_color"),
    }
    known: dict[type[Any], set[str]] = {base: _names_of(base) for base in (App, Screen, Widget)}
    for path in Path(bench.tui.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                bases = " ".join(ast.unparse(b) for b in node.bases)
                base = next((b for word, b in _BASES.items() if word in bases), None)
                if base is not None:
                    assert _set_by(node) & known[base] - meant == set(), f"{path.name}: {node.name}"


_BASES: dict[str, type[Any]] = {
    "App": App,
    "Screen": Screen,
    "Sheet": Screen,
    "BenchKeys": Screen,
    "Reading": Screen,
    "Painted": Widget,
}


def _names_of(base: type[Any]) -> set[str]:
    names = set(dir(base))
    for cls in base.__mro__[:-1]:
        try:
            source = ast.parse(inspect.getsource(cls))
        except (OSError, TypeError, SyntaxError):
            continue
        attributes = (n for n in ast.walk(source) if isinstance(n, ast.Attribute))
        names |= {n.attr for n in attributes if ast.unparse(n.value) == "self"}
    return names


def _set_by(node: ast.ClassDef) -> set[str]:
    out = {n.name for n in node.body if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)}
    for n in ast.walk(node):
        if isinstance(n, ast.Attribute) and isinstance(n.ctx, ast.Store) and ast.unparse(n.value) == "self":
            out.add(n.attr)
    return {n for n in out if not n.startswith("__") and not n.startswith("on_")}
