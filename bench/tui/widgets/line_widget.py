"""The base of every widget here: lines of spans, painted on the line API, only the rows that changed."""

from __future__ import annotations

from rich.cells import cell_len
from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from bench.tui.text import plain

Span = tuple[str, str]
"""Text that has been through `plain`, and the role that colours it."""
Line = list[Span]

ROLES = (
    *("quiet", "strong", "accent", "rule", "key", "caution"),
    *("in", "out", "close", "none"),
    *("band", "trace", "meter"),
    *("bar", "barred", "gone", "cap", "stop"),
)
"""What colours a span: plain words, verdicts, drawings, and what lies on a bar. "" is the plain ink."""


INKS = {f"painted--{role}" for role in ROLES}
"""The component classes of a screen that holds painted widgets. They belong to the screen, not to each widget: Textual
works out every class of every widget anew whenever the screen changes, and most of a first frame went there."""


def width_of(line: Line) -> int:
    """How many cells a line takes."""
    return sum(cell_len(text) for text, _ in line)


def spread(left: Line, right: Line, width: int) -> Line:
    """Two ends of one line, pushed apart to `width`; the left end is clipped where they would meet."""
    room = width - width_of(right)
    left = trim(left, max(0, room - 1))
    return [*left, (" " * max(0, room - width_of(left)), ""), *right]


def trim(line: Line, width: int) -> Line:
    """A line cut to `width` cells, ending in "…" where it was cut."""
    if width_of(line) <= width:
        return line
    out: Line = []
    for text, role in line:
        kept = ""
        for sign in text:
            if width_of(out) + cell_len(kept + sign) > width - 1:
                return [*out, (kept + "…", role)] if width > 0 else []
            kept += sign
        out.append((kept, role))
    return out


def beside(left: list[Line], right: list[Line], left_width: int, gap: int) -> list[Line]:
    """Two blocks of lines side by side; the left one is padded to `left_width`."""
    out: list[Line] = []
    for row in range(max(len(left), len(right))):
        first = left[row] if row < len(left) else []
        second = right[row] if row < len(right) else []
        out.append([*first, (" " * (left_width - width_of(first) + gap), ""), *second])
    return out


def texts(lines: list[Line]) -> list[str]:
    """The words of lines alone, for checks and for those who want no colour."""
    return ["".join(text for text, _ in line).rstrip() for line in lines]


class Painted(Widget):
    """A widget of fixed size that draws lines of spans.

    A subclass gives `lines(width, height)`; after a change of what it shows, `repaint` draws again those rows
    that came out different, and only those, so that a slow connection carries little.
    """

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id, classes=classes)
        self._painted: list[Line] = []
        self._painted_size = (-1, -1)

    def lines(self, width: int, height: int) -> list[Line]:
        """What to draw in so many cells; rows that are missing stay empty."""
        raise NotImplementedError

    def repaint(self) -> None:
        """Draw again what changed."""
        width, height = self.size
        if (width, height) != self._painted_size:
            self._painted_size = (-1, -1)  # hidden or not yet laid out: all is drawn when it is shown
            self.refresh()
            return
        new = self.lines(width, height) if width and height else []
        old, self._painted = self._painted, new
        rows = max(len(old), len(new))
        changed = [y for y in range(rows) if _row(old, y) != _row(new, y)]
        if changed:
            self.refresh(*(Region(0, y, width, 1) for y in changed if y < height))

    def render_line(self, y: int) -> Strip:
        """One row, for the compositor."""
        width, height = self.size
        if (width, height) != self._painted_size:
            self._painted, self._painted_size = self.lines(width, height), (width, height)
        base = self.rich_style
        segments = [Segment(_visible(text), self._style(role, base)) for text, role in _row(self._painted, y) if text]
        return Strip(segments).adjust_cell_length(width, base)

    def _style(self, role: str, base: Style) -> Style:
        return base + self.screen.get_component_rich_style(f"painted--{role}", partial=True) if role else base


def _visible(text: str) -> str:
    """The last door before the terminal: whatever was forgotten above, no control character gets through."""
    return text if text.isprintable() else plain(text)


def _row(lines: list[Line], y: int) -> Line:
    return lines[y] if y < len(lines) else []


def fix_height(widget: Widget, height: int) -> None:
    """Give a widget a height in rows, only when it is another one: a layout costs."""
    if widget.styles.height is None or widget.styles.height.value != height:
        widget.styles.height = height
