"""The job before it starts: a line for each choice, and the options of the current line."""

from __future__ import annotations

from bench.tui.choices import Option, Row
from bench.tui.text import cell, plain, wrap
from bench.tui.widgets.line_widget import Line, LineWidget, justified, side_by_side

TITLES = 16
"""Cells for the titles of the lines."""
ABOUT = 30
"""Cells that remain for the information about an option, however long the names are."""


def job_form_lines(rows: list[Row], at: int, width: int, *, resuming: bool = False) -> list[Line]:
    """One line for each row: its title and its selected option; the current row is marked.

    If a session is about to be resumed, the other lines have no effect and are dimmed.
    """
    out: list[Line] = []
    for n, row in enumerate(rows):
        here = n == at
        option = row.option
        name = option.name if option else "none found"
        left: Line = [("▸ " if here else "  ", "accent"), (cell(row.title, TITLES), "accent" if here else "quiet")]
        if here:
            left.append(("◂ ", "accent") if len(row.options) > 1 else ("  ", ""))
        else:
            left.append(("  ", ""))
        left.append((plain(name), "strong" if here else "quiet" if resuming else ""))
        if option and option.broken:
            left.append(("  ✗ cannot be used", "out"))
        if here and len(row.options) > 1:
            left.append((" ▸", "accent"))
        right: Line = [(plain(option.tail), "quiet")] if option and option.tail and not option.broken else []
        out.append(justified(left, right, width))
    return out


def choices_lines(row: Row, width: int, height: int) -> list[Line]:
    """The options of a row at the left, information about the selected one at the right."""
    if not row.options:
        return [[("none found", "out")]]
    longest = max(len(plain(o.name)) + len(plain(o.tail)) for o in row.options) + 4
    left_width = max(min(48, width // 2), min(longest, width - ABOUT))
    first = max(0, min(row.picked - height // 2, len(row.options) - height))
    listed = [
        _choice(option, n == row.picked, left_width)
        for n, option in enumerate(row.options[first : first + height], start=first)
    ]
    option = row.options[row.picked]
    return side_by_side(listed, about_lines(option, min(84, width - left_width - 3))[:height], left_width, 3)


def _choice(option: Option, here: bool, width: int) -> Line:
    tail = cell(option.tail, min(16, len(plain(option.tail))))
    sign, role = ("✗ ", "out") if option.broken else ("▸ ", "accent") if here else ("  ", "")
    room = width - 2 - len(tail) - 1
    return [
        (sign, role),
        (cell(option.name, room), "strong" if here else "quiet" if option.broken else ""),
        (" " + tail, "quiet"),
    ]


def about_lines(option: Option, width: int) -> list[Line]:
    """Information about an option; why it can't be used comes first."""
    out: list[Line] = []
    if option.broken:
        out += [[(line, "out")] for line in wrap("Cannot be used: " + option.broken, width)]
        out.append([])
    for paragraph in option.about:
        out += [[(line, "")] for line in wrap(paragraph, width)]
        out.append([])
    return out


class JobForm(LineWidget):
    """The lines of the job."""

    _rows: tuple[list[Row], int, bool] = ([], 0, False)

    def show(self, rows: list[Row], at: int, *, resuming: bool = False) -> None:
        """Show rows; `at` is the current one."""
        if (rows, at, resuming) != self._rows:
            self._rows = (list(rows), at, resuming)
            self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        rows, at, resuming = self._rows
        return job_form_lines(rows, at, width, resuming=resuming)


class Choices(LineWidget):
    """The options of one line."""

    _row: Row | None = None

    def show(self, row: Row | None) -> None:
        """Show a row's options."""
        if row != self._row:
            self._row = row
            self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        return choices_lines(self._row, width, height) if self._row else []
