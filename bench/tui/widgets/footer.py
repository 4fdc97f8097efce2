"""The bottom of the screen: what one key does, what was last worth saying, and a few verbs."""

from __future__ import annotations

from textual import events

from bench.tui.actions import Verb, key_name
from bench.tui.text import cell, clip, wrap
from bench.tui.widgets.line_widget import Line, Painted, fix_height, width_of

Asked = tuple[str, str, bool]
"""The key that answers ("" for none), what is asked, and whether an interlock asks it."""


def bar_lines(asked: Asked, width: int, height: int) -> list[Line]:
    """What is asked, behind the key that answers it: a bar across the whole width, unless nothing is asked."""
    key, words, interlock = asked
    lead = f" {key} " if key else " "
    room = width - len(lead) - 2
    bar = "stop" if interlock else "bar"
    out: list[Line] = []
    for n, text in enumerate(clip(wrap(words, room), height, room)):
        start = lead if n == 0 else " " * len(lead)
        if key:
            out.append([(start, "cap" if n == 0 else bar), (cell(" " + text, width - len(lead)), bar)])
        else:
            out.append([(start + text, "quiet")])
    return out


class Bar(Painted):
    """What the one key does now. A click does it too."""

    def __init__(self, action: str, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._does = action
        self._asked: Asked = ("", "", False)

    def show(self, asked: Asked) -> None:
        """Show what is asked."""
        if asked != self._asked:
            self._asked = asked
            self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        return bar_lines(self._asked, width, height)

    async def on_click(self) -> None:
        """As the key."""
        await self.screen.run_action(self._does)


class Notice(Painted):
    """What was last worth saying, in up to three lines."""

    MOST = 3

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._said = ("", "")

    def show(self, text: str, role: str = "accent") -> None:
        """Say something."""
        if (text, role) != self._said:
            self._said = (text, role)
            fix_height(self, max(1, min(self.MOST, len(wrap(text, max(10, self.screen.size.width))))))
            self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        text, role = self._said
        return [[(line, role)] for line in clip(wrap(text, width), height, width)]


class Footer(Painted):
    """At most six verbs, each with its key; a click does what the key does."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._verbs: tuple[tuple[Verb, str], ...] = ()
        self._typing = False

    def show(self, verbs: tuple[tuple[Verb, str], ...], *, typing: bool = False) -> None:
        """Show verbs, each with the label it has now."""
        if (verbs, typing) != (self._verbs, self._typing):
            self._verbs, self._typing = verbs[:6], typing
            self.repaint()

    def _spans(self) -> list[tuple[Verb, Line]]:
        out: list[tuple[Verb, Line]] = []
        for verb, label in self._verbs:
            name = key_name(verb, typing=self._typing)
            if name:
                out.append((verb, [(name, "key"), (f" {label}   ", "quiet")]))
        return out

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        return [[span for _, spans in self._spans() for span in spans]]

    async def on_click(self, event: events.Click) -> None:
        """Do the verb that was clicked."""
        x = 0
        for verb, spans in self._spans():
            x += width_of(spans)
            if event.x < x:
                await self.screen.run_action(verb.action)
                return
