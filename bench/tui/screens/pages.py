"""A full screen of text: a report, a history, a comparison, the problems of a file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from rich.cells import cell_len
from textual import events
from textual.app import ComposeResult
from textual.screen import Screen

from bench.tui import actions
from bench.tui.actions import KeyAction
from bench.tui.screens.dialogs import HelpDialog
from bench.tui.text import plain, wrap
from bench.tui.widgets.choice_lists import Lines
from bench.tui.widgets.footer import Footer, Notice
from bench.tui.widgets.line_widget import ROLE_CLASSES, Line, heading_line


def report_lines(folder: Path) -> list[str]:
    """The report of a session as lines. Raises `Problem`."""
    from bench.session.record.reader import read_session
    from bench.session.report.plain_text import report_text

    return report_text(read_session(folder)).splitlines()


ABOUT = "Text to read: up and down by a line, left and right or space by a page."


class PagesScreen(Screen[str]):
    """Lines of text under a title. Only the visible lines are drawn.

    Args:
        title: the title.
        text: its lines; a line wider than the screen is wrapped between words.
        outside: opens the text in another program and returns a sentence about it; None if there is nothing to open.
        start: starts the test that the text suggests; None without one that can be started.
    """

    AUTO_FOCUS = ""
    COMPONENT_CLASSES = ROLE_CLASSES
    BINDINGS = actions.bindings(actions.PAGES)

    def __init__(
        self,
        title: str,
        text: list[str],
        outside: Callable[[], str] | None = None,
        start: Callable[[], None] | None = None,
    ) -> None:
        super().__init__()
        self._title, self._text, self._outside, self._start = title, text, outside, start
        self._wrapped: list[str] = []
        self._first = 0

    @property
    def key_actions(self) -> tuple[KeyAction, ...]:
        """The keys of this screen."""
        return tuple(v for v in actions.PAGES if self.check_action(v.action, ()))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Disable the keys that open another program or start a test where there is none."""
        possible = {"open_outside": self._outside is not None, "start_test": self._start is not None}
        return possible.get(action, True)

    def compose(self) -> ComposeResult:
        """Title, text, and footer."""
        yield Lines(id="heading")
        yield Lines(id="pages")
        yield Notice(id="notice")
        yield Footer(id="footer")

    def on_mount(self) -> None:
        """The footer."""
        of = {v.action: v for v in self.key_actions}
        shown = [(of["move(-1)"], "↓ line"), (of["page(1)"], "page")]
        if "start_test" in of:
            shown.append((of["start_test"], "make the test"))
        if "open_outside" in of:
            shown.append((of["open_outside"], "open outside"))
        shown += [(of["leave"], "back"), (actions.HELP, "help")]
        self.query_one(Footer).show(tuple(shown))

    def on_resize(self) -> None:
        """Wrap the text to the new width."""
        width = max(20, self.app.size.width)
        self._wrapped = [part for line in self._text for part in fit_line(line, width)]
        self.call_after_refresh(self._show)

    @property
    def _room(self) -> int:
        return max(1, self.query_one("#pages").size.height)

    def _show(self) -> None:
        self._first = max(0, min(self._first, len(self._wrapped) - self._room))
        last = min(len(self._wrapped), self._first + self._room)
        position = f"lines {self._first + 1} to {last} of {len(self._wrapped)}"
        self.query_one("#heading", Lines).show([heading_line(self._title, position, self.app.size.width)])
        shown: list[Line] = [[(line, "")] for line in self._wrapped[self._first : last]]
        self.query_one("#pages", Lines).show(shown)

    def action_move(self, lines: int) -> None:
        """Scroll by lines."""
        self._first += lines
        self._show()

    def action_page(self, pages: int) -> None:
        """Scroll by pages."""
        self.action_move(pages * max(1, self._room - 1))

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        """The wheel."""
        self.action_move(3)

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        """The wheel."""
        self.action_move(-3)

    def action_start_test(self) -> None:
        """Start the suggested test, and leave the page."""
        if self._start is not None:
            self.dismiss("")
            self._start()

    def action_open_outside(self) -> None:
        """Open it in the system's default program."""
        if self._outside is not None:
            self.query_one(Notice).show(self._outside())

    def action_stop_sound(self) -> None:
        """This screen makes no sound."""
        self.query_one(Notice).show("No sound is being sent.")

    def action_help(self) -> None:
        """Every key."""
        self.app.push_screen(HelpDialog(self.key_actions, (ABOUT,)))

    def action_leave(self) -> None:
        """Back."""
        self.dismiss("")


def fit_line(line: str, width: int) -> list[str]:
    """A line wrapped to a width, with its indent kept and continuation lines indented further."""
    tamed = plain(line)
    if cell_len(tamed) <= width:
        return [tamed]
    indent = len(tamed) - len(tamed.lstrip())
    broken = wrap(tamed, max(10, width - indent - 2))
    return [" " * (indent + (2 if n else 0)) + part for n, part in enumerate(broken)]
