"""The debrief at the end of an exercise."""

from __future__ import annotations

from bench.tui.screens.dialogs import TextDialog
from bench.tui.text import wrap
from bench.tui.widgets.line_widget import Line
from bench.tui.widgets.step_card import READABLE

HEADINGS = {
    "fault": "What was hidden",
    "argument": "What shows it, and what rules out its rival",
    "wrong": "Named, but not there",
    "trimmer": "The trimmers",
    "again": "Look at again",
    "spent": "Time and adjustments",
    "end": "Result",
}
"""Headings by the subject of a line."""


class DebriefDialog(TextDialog):
    """What was wrong, what was done about it, and what to study again."""

    def __init__(self, debrief: tuple[tuple[str, str], ...]) -> None:
        super().__init__("Debrief")
        self._debrief = debrief

    def body(self, width: int) -> list[Line]:
        """A heading for each subject, then its lines."""
        width = min(width, READABLE)
        out: list[Line] = []
        for about, heading in HEADINGS.items():
            lines = [text for word, text in self._debrief if word == about]
            if not lines:
                continue
            out += [[], [(heading, "strong")]] if out else [[(heading, "strong")]]
            for text in lines:
                for n, line in enumerate(wrap(text, width - 2)):
                    out.append([("· " if n == 0 else "  ", "quiet"), (line, "")])
        return out
