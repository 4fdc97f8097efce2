"""The bottom of the screen: the prompt bar, a notice, and a few keys."""

from __future__ import annotations

from textual import events

from bench.tui.actions import KeyAction, key_name
from bench.tui.text import cell, clip, wrap
from bench.tui.widgets.line_widget import Line, LineWidget, line_width, set_height

KeyPrompt = tuple[str, str, bool]
"""The key that answers ("" for none), the prompt, and whether it comes from an interlock."""


def bar_lines(asked: KeyPrompt, width: int, height: int) -> list[Line]:
    """The prompt after the key that answers it, as a bar across the whole width; without a key, quiet text."""
    key, words, interlock = asked
    lead = f" {key} " if key else " "
    room = width - len(lead) - 2
    bar = "stop" if interlock else "bar"
    out: list[Line] = []
    for n, text in enumerate(clip(wrap(words, room), height, room)):
        start = lead if n == 0 else " " * len(lead)
        if key:
            out.append([(start, "keycap" if n == 0 else bar), (cell(" " + text, width - len(lead)), bar)])
        else:
            out.append([(start + text, "quiet")])
    return out


class Bar(LineWidget):
    """The prompt bar: what the go-on key does now. A click does the same."""

    def __init__(self, action: str, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._does = action
        self._asked: KeyPrompt = ("", "", False)

    def show(self, asked: KeyPrompt) -> None:
        """Show a prompt."""
        if asked != self._asked:
            self._asked = asked
            self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        return bar_lines(self._asked, width, height)

    async def on_click(self) -> None:
        """Do what the key does."""
        await self.screen.run_action(self._does)


class Notice(LineWidget):
    """A notice of up to three lines."""

    MOST = 3

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._notice = ("", "")

    def show(self, text: str, role: str = "accent") -> None:
        """Show a notice."""
        if (text, role) != self._notice:
            self._notice = (text, role)
            set_height(self, max(1, min(self.MOST, len(wrap(text, max(10, self.screen.size.width))))))
            self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        text, role = self._notice
        return [[(line, role)] for line in clip(wrap(text, width), height, width)]


class Footer(LineWidget):
    """At most six actions, each with its key; a click does what the key does."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._key_actions: tuple[tuple[KeyAction, str], ...] = ()
        self._typing = False

    def show(self, key_actions: tuple[tuple[KeyAction, str], ...], *, typing: bool = False) -> None:
        """Show actions, each with its present label."""
        if (key_actions, typing) != (self._key_actions, self._typing):
            self._key_actions, self._typing = key_actions[:6], typing
            self.repaint()

    def _spans(self) -> list[tuple[KeyAction, Line]]:
        out: list[tuple[KeyAction, Line]] = []
        for item, label in self._key_actions:
            name = key_name(item, typing=self._typing)
            if name:
                out.append((item, [(name, "key"), (f" {label}   ", "quiet")]))
        return out

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        return [[span for _, spans in self._spans() for span in spans]]

    async def on_click(self, event: events.Click) -> None:
        """Do the action that was clicked."""
        x = 0
        for item, spans in self._spans():
            x += line_width(spans)
            if event.x < x:
                await self.screen.run_action(item.action)
                return
