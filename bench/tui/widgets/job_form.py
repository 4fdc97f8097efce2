"""The job as it stands before it starts: a few lines, each with its choice, and the choices of one line."""

from __future__ import annotations

from bench.tui.choices import Option, Row
from bench.tui.text import cell, plain, wrap
from bench.tui.widgets.line_widget import Line, Painted, beside, spread

TITLES = 16
"""Cells for the titles of the lines."""


def ticket_lines(rows: list[Row], at: int, width: int, *, resuming: bool = False) -> list[Line]:
    """One line for each row: its title, its choice; the row that the keys move in is marked.

    While a session is about to be gone on with, the other lines do not count and are quiet.
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
        out.append(spread(left, right, width))
    return out


def choices_lines(row: Row, width: int, height: int) -> list[Line]:
    """The options of a row at the left, what is to know about the chosen one at the right."""
    if not row.options:
        return [[("none found", "out")]]
    left_width = min(48, width // 2)
    first = max(0, min(row.picked - height // 2, len(row.options) - height))
    listed = [
        _choice(option, n == row.picked, left_width)
        for n, option in enumerate(row.options[first : first + height], start=first)
    ]
    option = row.options[row.picked]
    return beside(listed, about_lines(option, min(84, width - left_width - 3))[:height], left_width, 3)


def _choice(option: Option, here: bool, width: int) -> Line:
    tail = cell(option.tail, min(16, len(plain(option.tail))))
    sign, role = ("✗ ", "out") if option.broken else ("● ", "accent") if here else ("  ", "")
    room = width - 2 - len(tail) - 1
    return [
        (sign, role),
        (cell(option.name, room), "strong" if here else "quiet" if option.broken else ""),
        (" " + tail, "quiet"),
    ]


def about_lines(option: Option, width: int) -> list[Line]:
    """What is to know about an option; why it can't be used comes first."""
    out: list[Line] = []
    if option.broken:
        out += [[(line, "out")] for line in wrap("Cannot be used: " + option.broken, width)]
        out.append([])
    for paragraph in option.about:
        out += [[(line, "")] for line in wrap(paragraph, width)]
        out.append([])
    return out


class Ticket(Painted):
    """The lines of the job."""

    _rows: tuple[list[Row], int, bool] = ([], 0, False)

    def show(self, rows: list[Row], at: int, *, resuming: bool = False) -> None:
        """Show rows, the keys being in one of them."""
        if (rows, at, resuming) != self._rows:
            self._rows = (list(rows), at, resuming)
            self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        rows, at, resuming = self._rows
        return ticket_lines(rows, at, width, resuming=resuming)


class Choices(Painted):
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
