"""Lists operated by digits: a checklist, choices, trimmers. Also the display of a timer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.figures import number
from bench.tui.text import clip, plain, wrap
from bench.tui.widgets.large_digits import large_text
from bench.tui.widgets.line_widget import Line, LineWidget, clip_line
from bench.words.dates import clock

if TYPE_CHECKING:
    from bench.practice.facts import TrimmerPosition
    from bench.procedure.state.snapshot import CheckRow


def check_lines(checks: tuple[CheckRow, ...], width: int, height: int) -> list[Line]:
    """Numbered lines to tick, each of two rows at most."""
    rows = 2 if sum(len(wrap(c.text, width - 6)) > 1 for c in checks) + len(checks) <= height else 1
    out: list[Line] = []
    for n, check in enumerate(checks, start=1):
        shape, role = ("✓", "in") if check.ticked else ("□", "")
        for m, line in enumerate(clip(wrap(check.text, width - 6), rows, width - 6)):
            lead: Line = [(f"{n:>2} " if n < 10 else "   ", "key"), (shape + "  ", role)]
            out.append([*(lead if m == 0 else [("      ", "")]), (line, "quiet" if check.ticked else "")])
    return out[:height]


def choice_lines(choices: tuple[str, ...], picked: int, width: int, height: int) -> list[Line]:
    """Numbered choices with the selected one marked; wrapped if there is room, else those around the selected one."""
    wrapped = [wrap(choice, width - 5) or [""] for choice in choices]
    if sum(map(len, wrapped)) > height:
        wrapped = [clip(lines, 1, width - 5) for lines in wrapped]
    first = max(0, min(picked - height // 2, len(choices) - height)) if len(choices) > height else 0
    out: list[Line] = []
    for n, lines in enumerate(wrapped[first:], start=first):
        here = n == picked
        for m, text in enumerate(lines):
            lead: Line = [(f"{n + 1:>2} " if n < 9 else "   ", "key"), ("▸ " if here else "  ", "accent")]
            out.append([*(lead if m == 0 else [("     ", "")]), (text, "strong" if here else "")])
    out = out[:height]
    for at, sign, hidden in ((0, "↑", first), (-1, "↓", len(choices) - first - height)):
        if hidden > 0 and out:
            more = f"  {sign} {hidden} more"
            out[at] = [*clip_line(out[at], width - len(more)), (more, "quiet")]
    return out


def trimmer_line(trimmers: tuple[TrimmerPosition, ...], picked: int, width: int) -> Line:
    """The trimmers that can be turned by key, with their positions; the selected one is marked."""
    out: Line = [("turn  ", "quiet")]
    for n, trimmer in enumerate(trimmers):
        here = n == picked
        end = ", at its end" if trimmer.degrees in (trimmer.low, trimmer.high) else ""
        position = f" {number(trimmer.degrees, 0, sign=True)}°{end}   "
        out += [(f"{n + 1} ", "key"), (plain(trimmer.name), "strong" if here else "quiet")]
        out += [(position, "accent" if here else "quiet")]
    return clip_line(out, width)


def timer_lines(left_s: float, rows: int = 5) -> list[Line]:
    """The remaining time in large digits."""
    return [[(line, "strong")] for line in large_text(clock(left_s), rows)]


class Lines(LineWidget):
    """Shows given lines."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._given: list[Line] = []

    def show(self, lines: list[Line]) -> None:
        """Show these lines."""
        if lines != self._given:
            self._given = lines
            self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw them."""
        return [clip_line(line, width) for line in self._given[:height]]
