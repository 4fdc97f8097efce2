"""The count-down before tones, and a trainee's hints."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.timer import Timer

from bench.tui.screens.dialogs import Dialog, TextDialog, words
from bench.tui.widgets.choice_lists import Lines
from bench.tui.widgets.large_digits import large_text
from bench.tui.widgets.line_widget import Line
from bench.tui.widgets.step_card import READABLE, Part, card_lines

if TYPE_CHECKING:
    from bench.procedure.state.snapshot import StepView

HINTS = ("think  ", "look  ", "do  ", "otherwise  ")


class CountDown(Dialog):
    """Counts down before tones start, with a caution. Dismissed with "go" at zero; keys that stop sound stop it."""

    BINDINGS = [("s,q,n,space,enter", "close", "do not start")]  # noqa: RUF012
    about = "Tones start when the count is down. Space, s, escape or F9 stop it before anything sounds."
    counts_from = 3
    beat_s = 1.0

    def __init__(self, doing: str) -> None:
        super().__init__()
        self._doing = doing
        self._left = self.counts_from
        self._timer: Timer | None = None

    def compose(self) -> ComposeResult:
        """Caution, count, what is about to start, and how to stop it."""
        with Vertical(classes="dialog"):
            yield words("▲ Loud tones: loudspeakers down, headphones off. Tones start in", classes="caution")
            yield Lines(id="count")
            yield words(self._doing)
            yield words("space, s or escape: do not start", classes="quiet")

    def on_mount(self) -> None:
        """Start counting."""
        self._show()
        self._timer = self.set_interval(self.beat_s, self._beat)

    def _beat(self) -> None:
        self._left -= 1
        if self._left > 0:
            self._show()
        elif self._timer is not None:
            self._timer.stop()
            self._timer = None
            self.dismiss("go")

    def action_close(self) -> None:
        """Start nothing."""
        if self._timer is not None:
            self._timer.stop()
            self._timer = None
            self.dismiss(None)

    def _show(self) -> None:
        self.query_one("#count", Lines).show(
            [[], *([("  " + row, "strong")] for row in large_text(str(self._left), 7)), []]
        )


class Hints(TextDialog):
    """Hints one by one: think, look, do, and what to do otherwise."""

    BINDINGS = [("i", "next", "next hint")]  # noqa: RUF012
    about = "One hint after another: what to think of, where to look, what to do, and what to do otherwise."

    def __init__(self, step: StepView, shown: int) -> None:
        super().__init__(f"Hints: {step.title}")
        self._all = all_hints(step)
        self.shown = max(1, min(shown, len(self._all)))

    def body(self, width: int) -> list[Line]:
        """The hints asked for so far."""
        return card_lines(self._all[: self.shown], min(width, READABLE), 10_000)

    def footing(self) -> str:
        """What the keys do."""
        left = len(self._all) - self.shown
        return f"i next hint ({left} more) · space back" if left else "space back · ↑ ↓ read on"

    def action_next(self) -> None:
        """Show one more hint."""
        if self.shown < len(self._all):
            self.shown += 1
            self.on_resize()

    def action_close(self) -> None:
        """Back, with the number of hints shown."""
        self.dismiss(str(self.shown))


def all_hints(step: StepView) -> list[Part]:
    """The hints of a step in their order, then what to do if the result is not right."""
    texts = [*step.hints[:3], *([step.if_not] if step.if_not.strip() else [])]
    leads = [*HINTS[: len(step.hints[:3])], HINTS[3]]
    return [(lead, text, "quiet") for lead, text in zip(leads, texts, strict=False)]
