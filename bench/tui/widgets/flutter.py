"""Wow and flutter by the parts that cause it: a list with shares, and the spectrum."""

from __future__ import annotations

import math

import numpy as np

from bench.figures import number
from bench.procedure.state.snapshot import FlutterPart
from bench.tui.text import cell
from bench.tui.widgets.braille import BrailleCanvas
from bench.tui.widgets.line_widget import Line, LineWidget, side_by_side
from bench.words.figures import hertz_tick

LIST_WIDTH = 58
LABEL = 7
LEAST_SPECTRUM = (24, 5)
MARKS = (0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)


def part_lines(parts: tuple[FlutterPart, ...], width: int, height: int) -> list[Line]:
    """One row for each part, the strongest first: name, rate, % peak, share as a bar and a figure."""
    if not parts:
        return []
    name = max(12, min(24, width - 36))
    bar = max(6, min(20, width - name - 27))
    head = f"{'part':<{name}}{'Hz':>9}{'% peak':>9}  share"
    out: list[Line] = [[(cell(head, width).rstrip(), "quiet")]]
    for part in parts:
        full = round(part.share * bar * 2)
        drawn = "━" * (full // 2) + ("╸" if full % 2 else "")
        known = part.part != "unknown"
        out.append(
            [
                (cell(part.part, name), "strong" if known else "quiet"),
                (cell(number(part.rate_hz, 2), 9, "right"), ""),
                (cell(number(part.percent, 3), 9, "right"), ""),
                ("  " + drawn, "meter"),
                ("─" * (bar - len(drawn)), "rule"),
                (f" {part.share * 100:3.0f} %", ""),
            ]
        )
    return out[:height]


def spectrum_lines(spectrum: tuple[tuple[float, float], ...], width: int, height: int) -> list[Line]:
    """The spectrum on a logarithmic axis; empty if there is no room."""
    if len(spectrum) < 2 or width < LEAST_SPECTRUM[0] or height < LEAST_SPECTRUM[1]:
        return []
    rows = height - 2
    dots = BrailleCanvas(width - LABEL, rows)
    low, high = spectrum[0][0], spectrum[-1][0]
    top = max(p for _, p in spectrum) or 1.0

    def column(hz: float) -> int:
        return round(math.log(hz / low) / math.log(high / low) * (dots.across - 1))

    columns = np.array([column(hz) for hz, _ in spectrum])
    levels = np.array([round((1 - p / top) * (dots.down - 1)) for _, p in spectrum])
    dots.curve("trace", columns, levels)
    out: list[Line] = [[(cell("spectrum, % peak", width).rstrip(), "quiet")]]
    labels = {0: number(top, 3), rows - 1: "0"}
    for y, line in enumerate(dots.lines()):
        out.append([(cell(labels.get(y, ""), LABEL - 1, "right"), "quiet"), ("│", "rule"), *line])
    names = [" "] * width
    free = LABEL
    for hz in MARKS:
        text = hertz_tick(hz)
        at = LABEL + column(hz) // 2 if low <= hz <= high else -1
        if at >= free and at + len(text) <= width - 3:
            names[at : at + len(text)] = text
            free = at + len(text) + 1
    names[width - 2 : width] = "Hz"
    return [*out, [("".join(names), "quiet")]]


class FlutterBoard(LineWidget):
    """The total with its verdict, the list, and the spectrum at its right or below it."""

    _shown: tuple[tuple[FlutterPart, ...], tuple[tuple[float, float], ...]] = ((), ())
    _totals: tuple[Line, ...] = ()

    def show(
        self, parts: tuple[FlutterPart, ...], spectrum: tuple[tuple[float, float], ...], totals: tuple[Line, ...] = ()
    ) -> None:
        """Show a measurement; `totals` are the lines above its parts."""
        if (parts, spectrum, totals) != (*self._shown, self._totals):
            self._shown, self._totals = (parts, spectrum), totals
            self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        above = [*self._totals, []] if self._totals else []
        return [*above, *self._parts(width, height - len(above))]

    def _parts(self, width: int, height: int) -> list[Line]:
        parts, spectrum = self._shown
        if width >= LIST_WIDTH + 3 + LEAST_SPECTRUM[0]:
            drawn = spectrum_lines(spectrum, width - LIST_WIDTH - 3, min(height, 20))
            return side_by_side(part_lines(parts, LIST_WIDTH, height), drawn, LIST_WIDTH, 3)
        listed = part_lines(parts, width, height)
        drawn = spectrum_lines(spectrum, width, min(16, height - len(listed) - 1))
        return [*listed, [], *drawn] if drawn else listed
