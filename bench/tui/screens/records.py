"""The list of sessions, and from it reports, a machine's history, the lid label, and comparisons."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from textual import events
from textual.app import ComposeResult
from textual.screen import Screen

from bench.problem import Problem
from bench.tui import actions
from bench.tui.actions import KeyAction
from bench.tui.open_outside import open_outside
from bench.tui.screens.dialogs import HelpDialog
from bench.tui.screens.pages import PagesScreen, report_lines
from bench.tui.widgets.choice_lists import Lines
from bench.tui.widgets.footer import Bar, Footer, Notice
from bench.tui.widgets.line_widget import ROLE_CLASSES, heading_line
from bench.tui.widgets.session_list import detail_lines, session_lines
from bench.workspace import Workspace

if TYPE_CHECKING:
    from bench.session.record.index import Entry

ABOUT = """All sessions of this workspace, the newest first. Enter reads the report of the one that is picked; c marks
it, and c on another sets the two side by side, the older one first."""


class RecordsScreen(Screen[str]):
    """All sessions of the workspace."""

    AUTO_FOCUS = ""
    COMPONENT_CLASSES = ROLE_CLASSES
    BINDINGS = actions.bindings(actions.RECORDS)
    key_actions: tuple[KeyAction, ...] = actions.RECORDS

    def __init__(self, workspace: Workspace) -> None:
        super().__init__()
        self._workspace = workspace
        self._entries: list[Entry] = []
        self._picked = 0
        self._marked: Entry | None = None
        self._notice = ""

    def compose(self) -> ComposeResult:
        """Title, list, and footer."""
        yield Lines(id="heading")
        yield Lines(id="pages")
        yield Lines(id="detail")
        yield Bar("read", id="prompt")
        yield Notice(id="notice")
        yield Footer(id="footer")

    def on_mount(self) -> None:
        """Read the list."""
        named = ("history", "compare", "fleet", "label", "leave")
        of = actions.find
        shown = [(of(actions.RECORDS, action), of(actions.RECORDS, action).label) for action in named]
        self.query_one(Footer).show((*shown, (actions.HELP, "help")))
        self.run_worker(self._look(), exclusive=True)

    async def _look(self) -> None:
        from bench.session.record.index import entries

        self._entries = await asyncio.to_thread(entries, self._workspace.sessions)
        self._notice = "" if self._entries else "There are no sessions yet: each job leaves one."
        self._show()

    def on_resize(self, event: events.Resize) -> None:
        """Redraw for the new width."""
        self.call_after_refresh(self._show)

    def _show(self) -> None:
        if not self.display:  # left while a session was still being read
            return
        width = self.size.width - 2
        position = f"{self._picked + 1} of {len(self._entries)}" if self._entries else ""
        self.query_one("#heading", Lines).show([heading_line("Sessions", position, width)])
        room = max(1, self.query_one("#pages").size.height)
        marked = self._entries.index(self._marked) if self._marked in self._entries else -1
        self.query_one("#pages", Lines).show(session_lines(self._entries, self._picked, marked, width, room))
        entry = self._entry
        self.query_one("#detail", Lines).show(detail_lines(entry, width) if entry else [])
        asked = "Read the report of this session" if entry else "Nothing to read yet"
        self.query_one(Bar).show(("enter" if entry else "", asked, False))
        self.query_one(Notice).show(self._notice, "accent")

    @property
    def _entry(self) -> Entry | None:
        return self._entries[self._picked] if self._entries else None

    def _say(self, sentence: str) -> None:
        self._notice = sentence
        self._show()

    # ---------------------------------------------------------------- what is done

    def action_move(self, step: int) -> None:
        """Another session."""
        if self._entries:
            self._picked = max(0, min(len(self._entries) - 1, self._picked + step))
            self._say("")

    def on_click(self, event: events.Click) -> None:
        """The session that was clicked."""
        if isinstance(event.widget, Lines) and event.widget.id == "pages" and self._entries:
            room = event.widget.size.height
            first = max(0, min(self._picked - room // 2, len(self._entries) - room))
            self.action_move(first + event.y - self._picked)

    def action_read(self) -> None:
        """The report of the selected session."""
        entry = self._entry
        if entry is None:
            return
        self._open(f"Report of {entry.name}", lambda: report_lines(entry.folder), self._outside_of(entry.folder))

    def action_history(self) -> None:
        """The history of the selected session's machine."""
        entry = self._entry
        if entry is None:
            return

        def lines() -> list[str]:
            from bench.session.compare.history import machine_history
            from bench.session.compare.history_text import history_lines

            return history_lines(machine_history(self._workspace, entry.machine))

        self._open(f"History of {entry.machine}", lines)

    def action_fleet(self) -> None:
        """How the machines of the workshop play each other's tapes, and which one is the odd one out."""

        def lines() -> list[str]:
            from bench.session.compare.fleet import fleet
            from bench.session.compare.interchange import interchange_of
            from bench.session.compare.interchange_text import interchange_lines

            machines, left_out = fleet(self._workspace.sessions)
            return [*interchange_lines(interchange_of(machines)), *(f"Left out: {why}" for why in left_out)]

        self._open("All machines", lines)

    def action_label(self) -> None:
        """The label for the inside of the lid."""
        entry = self._entry
        if entry is None:
            return

        def lines() -> list[str]:
            from bench.session.report.label import label_lines

            return label_lines(entry.folder)

        self._open(f"Label of {entry.name}", lines)

    def action_compare(self) -> None:
        """Mark the session, or compare it with the marked one."""
        entry, marked = self._entry, self._marked
        if entry is None:
            return
        if marked is None or marked == entry or marked not in self._entries:
            self._marked = None if marked == entry else entry
            self._say("Marked; go to another and press c again." if self._marked else "")
            return
        first, second = sorted((marked, entry), key=lambda e: e.begun)
        self._marked = None

        def lines() -> list[str]:
            from bench.session.compare.comparison import compare_folders
            from bench.session.compare.comparison_text import comparison_lines

            return comparison_lines(compare_folders(first.folder, second.folder))

        self._open(f"{first.name} and {second.name}", lines)

    def action_open_outside(self) -> None:
        """Open the report of the selected session in the browser."""
        if self._entry is not None:
            self._say(self._outside_of(self._entry.folder)())

    @staticmethod
    def _outside_of(folder: Path) -> Callable[[], str]:
        return lambda: open_outside(folder / "report.html")

    def _open(self, title: str, lines: Callable[[], list[str]], outside: Callable[[], str] | None = None) -> None:
        """Read on a thread, because a session can take a moment; a broken one shows its problem."""

        async def read() -> None:
            try:
                text = await asyncio.to_thread(lines)
            except Problem as problem:
                self._say(problem.sentence)
                return
            self._say("")
            if self.display:
                self.app.push_screen(PagesScreen(title, text, outside))

        self._say("Reading …")
        self.run_worker(read(), exclusive=True)

    def action_stop_sound(self) -> None:
        """This screen makes no sound."""
        self._say("No sound is being sent.")

    def action_help(self) -> None:
        """Every key."""
        self.app.push_screen(HelpDialog(self.key_actions, (ABOUT,)))

    def action_leave(self) -> None:
        """Back."""
        self.dismiss("")
