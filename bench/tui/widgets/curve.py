"""A reading against a trimmer's movement: bias past its peak, rounds, positions of a ladder."""

from __future__ import annotations

import math

import numpy as np

from bench.figures import as_given, number
from bench.procedure.state.snapshot import Curve
from bench.tui.text import cell
from bench.tui.widgets.braille import BrailleCanvas
from bench.tui.widgets.line_widget import Line, Span

LABEL = 7
LEAST_WIDTH, LEAST_HEIGHT = 24, 4
"""Nothing is drawn in less room."""
NAMES = {"degrees": "°", "round": "reading", "position": "position"}
HERE, PEAK, BEST = "●", "^", "◆"


def curve_lines(curve: Curve, width: int, height: int) -> list[Line]:
    """Draw a curve: "●" at the present point, "^" at the peak, "◆" at the best position, a dotted line at the target.

    Empty if there is nothing to draw yet, or no room.
    """
    if not curve.points or width < LEAST_WIDTH or height < LEAST_HEIGHT:
        return []
    rows = height - 2
    dots = BrailleCanvas(width - LABEL, rows)
    xs, ys = [p[0] for p in curve.points], [p[1] for p in curve.points]
    marked = [curve.aim] if curve.aim is not None else []
    low, high = _span(ys + marked + ([curve.peak[1]] if curve.peak else []))
    left, right = min(xs), max(xs)
    if right - left < 1e-9:
        left, right = left - 1.0, right + 1.0

    def column(x: float) -> int:
        return round((x - left) / (right - left) * (dots.across - 1))

    def row(y: float) -> int:
        return round((high - y) / (high - low) * (dots.down - 1))

    if curve.aim is not None:
        dots.level("band", row(curve.aim), every=2)
    order = sorted(curve.points)
    dots.curve("trace", np.array([column(x) for x, _ in order]), np.array([row(y) for _, y in order]))
    signs: dict[tuple[int, int], str] = {}
    best = next((p for p in curve.points if curve.best is not None and p[0] == curve.best), None)
    for point, sign in ((curve.peak, PEAK), (best, BEST), (curve.points[-1], HERE)):
        if point is not None:
            signs[(min(rows - 1, row(point[1]) // 4), min(width - LABEL - 1, column(point[0]) // 2))] = sign
    labels = {0: number(high, 1), rows - 1: number(low, 1)}
    if curve.aim is not None:
        labels[min(rows - 1, row(curve.aim) // 4)] = number(curve.aim, 1)
    out: list[Line] = [_head(curve, width)]
    for y, line in enumerate(dots.lines()):
        edge: Line = [(cell(labels.get(y, ""), LABEL - 1, "right"), "quiet"), ("┤" if y in labels else "│", "rule")]
        out.append([*edge, *overlay(line, {x: (s, "strong") for (sy, x), s in signs.items() if sy == y})])
    return [*out, _foot(curve, left, right, width)]


def overlay(line: Line, signs: dict[int, Span]) -> Line:
    """A line with characters replaced at some columns."""
    if not signs:
        return line
    out: Line = []
    x = 0
    for text, role in line:
        for sign in text:
            out.append(signs.get(x, (sign, role)))
            x += 1
    return out


def _span(values: list[float]) -> tuple[float, float]:
    """The range of the values in whole units, at least one unit."""
    low, high = math.floor(min(values)), math.ceil(max(values))
    return (float(low), float(high)) if high > low else (low - 1.0, high + 1.0)


def _head(curve: Curve, width: int) -> Line:
    named = curve.label.removeprefix(f"{curve.channel}, ").removeprefix(f"{curve.channel} ")
    keys = [f"{HERE} now"]
    keys += [f"{PEAK} peak {number(curve.peak[1], 1)}"] if curve.peak else []
    keys += [f"{BEST} best: {as_given(curve.best)}"] if curve.best is not None else []
    keys += ["┄ aim"] if curve.aim is not None else []
    return [(cell(f"{named} {curve.unit}  {' '.join(keys)}", width).rstrip(), "quiet")]


def _foot(curve: Curve, left: float, right: float, width: int) -> Line:
    unit = NAMES[curve.along]
    first, last = (f"{number(x, 0, sign=curve.along == 'degrees')}" for x in (left, right))
    if curve.along == "degrees":
        first, last = first + unit, last + unit
    else:
        first = f"{unit} {first}"
    room = width - LABEL - len(first) - len(last)
    return [(" " * LABEL + first + " " * max(1, room) + last, "quiet")]
