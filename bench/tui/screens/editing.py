"""A plain text editor for procedures and sheets, used if no editor is configured."""

from __future__ import annotations

from pathlib import Path

from textual.app import ComposeResult
from textual.screen import Screen
from textual.widgets import TextArea

from bench.problem import Problem
from bench.tui import actions
from bench.tui.actions import KeyAction
from bench.tui.editing import check_file, read_text, write_text
from bench.tui.screens.dialogs import Confirm, HelpDialog
from bench.tui.widgets.choice_lists import Lines
from bench.tui.widgets.footer import Footer, Notice
from bench.tui.widgets.line_widget import ROLE_CLASSES, heading_line
from bench.workspace import Workspace

ABOUT = """The file as it is, comments and all. F4 saves it and lists what is wrong with it, with the line; F10 goes
back. With VISUAL or EDITOR set, your own editor opens instead of this."""


class EditScreen(Screen[str]):
    """Edits one file. Dismissed with "saved" if it was saved."""

    COMPONENT_CLASSES = ROLE_CLASSES
    BINDINGS = actions.bindings(actions.EDITING)
    key_actions: tuple[KeyAction, ...] = actions.EDITING

    def __init__(self, path: Path, workspace: Workspace) -> None:
        super().__init__()
        self._path, self._workspace = path, workspace
        self._saved, self._replaced = read_text(path)
        self._answer = ""

    def compose(self) -> ComposeResult:
        """Name, text, problems, keys."""
        yield Lines(id="heading")
        yield TextArea(self._saved, id="area", show_line_numbers=True, soft_wrap=False, tab_behavior="indent")
        yield Notice(id="notice")
        yield Footer(id="footer")

    def on_mount(self) -> None:
        """Show the keys, and a warning if characters were replaced."""
        of = actions.find
        shown = [(of(actions.EDITING, a), of(actions.EDITING, a).label) for a in ("save", "stop_sound", "leave")]
        self.query_one(Footer).show((*shown, (actions.HELP, "help")), typing=True)
        if self._replaced:
            warning = f"{self._replaced} signs that can steer a terminal are shown as �; saving replaces them."
            self.query_one(Notice).show(warning, "caution")

    def on_resize(self) -> None:
        """Redraw the heading for the new width."""
        self.query_one("#heading", Lines).show([heading_line(self._path.name, "edit", self.app.size.width - 2)])

    def action_save(self) -> None:
        """Save, then show the first problem and go to its line."""
        area = self.query_one(TextArea)
        try:
            write_text(self._path, area.text)
        except Problem as problem:
            self.query_one(Notice).show(problem.sentence, "caution")
            return
        self._saved, self._answer = area.text, "saved"
        problems = check_file(self._path, self._workspace)
        if not problems:
            self.query_one(Notice).show("Saved. Nothing is wrong with it.")
            return
        first = problems[0]
        if first.line is not None:
            area.move_cursor((first.line - 1, 0))
        more = f" And {len(problems) - 1} more." if len(problems) > 1 else ""
        at = f"Line {first.line}: " if first.line is not None else ""
        key = f"{first.key}: " if first.key else ""
        self.query_one(Notice).show(f"Saved. {at}{key}{first.message}; {first.remedy}.{more}", "caution")
        self.call_after_refresh(area.scroll_cursor_visible)  # a long notice takes lines from the text

    def action_stop_sound(self) -> None:
        """This screen makes no sound."""
        self.query_one(Notice).show("No sound is being sent.")

    def action_help(self) -> None:
        """Help on this screen."""
        self.app.push_screen(HelpDialog(self.key_actions, (ABOUT,)))

    def action_leave(self) -> None:
        """Back, if the text is saved or the person discards it."""
        if self.query_one(TextArea).text == self._saved:
            self.dismiss(self._answer)
            return

        def done(answer: str | None) -> None:
            if answer:
                self.dismiss(self._answer)

        self.app.push_screen(Confirm("Leave without saving what was typed?", "leave", "stay"), done)
