"""The base of all widgets here: lines of spans, drawn through the line API, redrawing only rows that changed."""

from __future__ import annotations

from rich.cells import cell_len
from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from bench.tui.text import plain

Span = tuple[str, str]
"""Text made safe by `plain`, and the role that gives its colour."""
Line = list[Span]

ROLES = (
    *("quiet", "strong", "accent", "rule", "key", "caution"),
    *("in", "out", "close", "none"),
    *("band", "trace", "meter"),
    *("bar", "bar-quiet", "progress", "keycap", "stop"),
)
"""The roles of a span: text, verdicts, drawings, and text on a bar. "" is the default colour."""


ROLE_CLASSES = {f"role--{role}" for role in ROLES}
"""Component classes of a screen that holds line widgets. They belong to the screen, not to each widget, because Textual
resolves every class of every widget again whenever the screen changes: that would take most of the first frame."""


def line_width(line: Line) -> int:
    """The width of a line, in cells."""
    return sum(cell_len(text) for text, _ in line)


def justified(left: Line, right: Line, width: int) -> Line:
    """One line of `width` cells with text at both ends; the left end is clipped if they would meet."""
    room = width - line_width(right)
    left = clip_line(left, max(0, room - 1))
    return [*left, (" " * max(0, room - line_width(left)), ""), *right]


def bar_line(left: Line, right: Line, width: int) -> Line:
    """Two ends of one line on a bar across the whole width."""
    return [(text, role or "bar") for text, role in justified(left, right, width)]


def heading_line(title: str, detail: str, width: int) -> Line:
    """The heading of a screen: its title at the left, a detail at the right."""
    return bar_line([(f" {plain(title)}", "bar")], [(f"{detail} ", "bar-quiet")], width)


def clip_line(line: Line, width: int) -> Line:
    """A line of at most `width` cells, ending in "…" if it was cut."""
    if line_width(line) <= width:
        return line
    out: Line = []
    for text, role in line:
        kept = ""
        for sign in text:
            if line_width(out) + cell_len(kept + sign) > width - 1:
                return [*out, (kept + "…", role)] if width > 0 else []
            kept += sign
        out.append((kept, role))
    return out


def side_by_side(left: list[Line], right: list[Line], left_width: int, gap: int) -> list[Line]:
    """Two blocks of lines side by side; the left one is padded to `left_width`."""
    out: list[Line] = []
    for row in range(max(len(left), len(right))):
        first = left[row] if row < len(left) else []
        second = right[row] if row < len(right) else []
        out.append([*first, (" " * (left_width - line_width(first) + gap), ""), *second])
    return out


class LineWidget(Widget):
    """A widget of fixed size that draws lines of spans.

    A subclass implements `lines(width, height)`. After a change, `repaint` redraws only the rows that differ, so that
    little data goes over a slow connection.
    """

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id, classes=classes)
        self._painted: list[Line] = []
        self._painted_size = (-1, -1)

    def lines(self, width: int, height: int) -> list[Line]:
        """The lines to draw in this many cells; missing rows stay empty."""
        raise NotImplementedError

    def repaint(self) -> None:
        """Redraw the rows that changed."""
        width, height = self.size
        if (width, height) != self._painted_size:
            self._painted_size = (-1, -1)  # hidden or not yet laid out: everything is drawn when it is shown
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
        return base + self.screen.get_component_rich_style(f"role--{role}", partial=True) if role else base


def _visible(text: str) -> str:
    """The last check before the terminal: no control character passes, even if `plain` was forgotten above."""
    return text if text.isprintable() else plain(text)


def _row(lines: list[Line], y: int) -> Line:
    return lines[y] if y < len(lines) else []


def set_height(widget: Widget, height: int | None) -> None:
    """Set a widget's height in rows, None for its style sheet's; only if it differs, because a layout takes time."""
    now = widget.styles.inline.height
    if (None if now is None else now.value) != height:
        widget.styles.height = height
