"""The last minute of a quantity against its tolerance, on the same compressed scale as the pointer."""

from __future__ import annotations

import numpy as np

from bench.figures import number
from bench.tui.text import cell
from bench.tui.widgets.braille import BrailleCanvas
from bench.tui.widgets.line_widget import Line
from bench.tui.widgets.scale import part_of
from bench.words.figures import live_decimals

SECONDS = 60.0
LABEL = 7
"""Cells at the left for the figures of the limits."""


def trace_lines(
    history: tuple[tuple[float, float], ...],
    target: float | None,
    tolerance: float | None,
    *,
    unit: str,
    width: int,
    height: int,
) -> list[Line]:
    """Draw the trace: newest value at the right, limits dotted, their figures at the left.

    Args:
        history: (seconds, value), oldest first; only the last minute is drawn.
        target: middle of the tolerance band; without one, the scale follows the values.
        tolerance: plus or minus; without one, the scale follows the values.
        unit: decides the decimals of the figures.
        width: cells, including the figures.
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
    dots = BrailleCanvas(width - LABEL, height)

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
