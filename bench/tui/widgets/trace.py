"""The last minute of a quantity against its band, on the same closing-up scale as the pointer's."""

from __future__ import annotations

import numpy as np

from bench.tui.text import cell
from bench.tui.widgets.braille import Dots
from bench.tui.widgets.line_widget import Line
from bench.tui.widgets.scale import part_of
from bench.words.figures import live_decimals, number

SECONDS = 60.0
LABEL = 7
"""Cells to the left of the sheet, for the figures of the limits."""


def trace_lines(
    history: tuple[tuple[float, float], ...],
    target: float | None,
    tolerance: float | None,
    *,
    unit: str,
    width: int,
    height: int,
) -> list[Line]:
    """Draw the trace: newest at the right edge, limits dotted, their figures at the left.

    Args:
        history: (seconds, value), oldest first; only the last minute before the newest is drawn.
        target: the band's middle; without a band the sheet is drawn around what there is.
        tolerance: plus or minus, likewise.
        unit: decides the decimals of the figures.
        width: cells, the figures included.
        height: rows.
    """
    if height < 1 or width < LABEL + 8:
        return []
    judged = target is not None and tolerance is not None
    if target is None or tolerance is None:
        if not history:
            return [[]] * height
        values = [v for _, v in history]
        target = (max(values) + min(values)) / 2
        tolerance = max((max(values) - min(values)) / 2, 10.0 ** -live_decimals(unit, None))
    dots = Dots(width - LABEL, height)

    def row(value: float) -> int:
        return round((1 - part_of(value - target, tolerance)) / 2 * (dots.down - 1))

    labels: dict[int, str] = {}
    if judged:
        places = live_decimals(unit, tolerance)
        for limit in (target + tolerance, target - tolerance):
            dots.level("band", row(limit), every=2)
            labels.setdefault(row(limit) // 4, number(limit, places))
    if history:
        now = history[-1][0]
        recent = [(t, v) for t, v in history if now - t <= SECONDS]
        columns = np.rint([(1 - (now - t) / SECONDS) * (dots.across - 1) for t, _ in recent]).astype(int)
        rows = np.array([row(v) for _, v in recent])
        dots.curve("trace", columns, rows)
    out: list[Line] = []
    for y, line in enumerate(dots.lines()):
        label = labels.get(y, "")
        out.append([(cell(label, LABEL - 1, "right"), "quiet"), ("┤" if label else "│", "rule"), *line])
    return out
