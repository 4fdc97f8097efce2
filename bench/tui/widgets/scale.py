"""The scale below a figure: the target in the middle, the tolerance as a band, a pointer above.

Inside the band the scale is nearly linear; outside it is compressed, so that the pointer moves even for large errors.
"""

from __future__ import annotations

import math

from bench.tui.widgets.line_widget import Line

FAR = 40.0
"""Tolerances from the target to either end of the scale."""


def part_of(error: float, tolerance: float) -> float:
    """Position of an error on the scale: −1 to 1, 0 on target, limited to the ends."""
    part = math.asinh(error / tolerance * 2.0) / math.asinh(FAR * 2.0)
    return max(-1.0, min(1.0, part))


def pointer_column(error: float, tolerance: float, width: int) -> int:
    """The pointer's column on a scale of odd `width`."""
    half = width // 2
    return half + round(part_of(error, tolerance) * half)


def band_lines(error: float | None, tolerance: float, width: int, role: str, *, wander: float = 0.0) -> list[Line]:
    """The pointer's row and the scale's row.

    Args:
        error: value minus target; None draws no pointer.
        tolerance: plus or minus.
        width: cells for both rows.
        role: the verdict's role, which colours the pointer.
        wander: half the width of the band in which the value wanders, drawn around the pointer; 0 draws none.
    """
    low, high = "low ", " high"
    scale = width - len(low) - len(high)
    scale -= 1 - scale % 2
    left, right = pointer_column(-tolerance, tolerance, scale), pointer_column(tolerance, tolerance, scale)
    pointer: Line = []
    if error is not None:
        at = pointer_column(error, tolerance, scale)
        if -tolerance < error < tolerance:
            at = min(max(at, left + 1), right - 1)
        elif abs(error) > tolerance:
            at = min(at, left - 1) if error < 0 else max(at, right + 1)
        least, most = (min(max(pointer_column(error + w, tolerance, scale), 0), scale - 1) for w in (-wander, wander))
        before, after = max(0, at - least), max(0, most - at)
        pointer = [
            (" " * (len(low) + at - before), ""),
            ("─" * before, "quiet"),
            ("▼", role or "strong"),
            ("─" * after, "quiet"),
        ]
    marks = "━" * (right - left - 1)
    middle = scale // 2 - left - 1
    marks = marks[:middle] + "╋" + marks[middle + 1 :]
    return [
        pointer,
        [
            (low, "quiet"),
            ("─" * left, "rule"),
            ("┣" + marks + "┫", "band"),
            ("─" * (scale - right - 1), "rule"),
            (high, "quiet"),
        ],
    ]
