"""Azimuth as a phase display: left against right of one tone, a diagonal line if they are equal, else a ring."""

from __future__ import annotations

import math

import numpy as np

from bench.tui.widgets.braille import BrailleCanvas
from bench.tui.widgets.line_widget import Line

POINTS = 96


def phase_lines(degrees: float, height: int) -> list[Line]:
    """The display, twice as many cells wide as high, so that it looks square."""
    dots = BrailleCanvas(height * 2, height)
    at = np.linspace(0.0, 2.0 * math.pi, POINTS)
    across, up = np.sin(at), np.sin(at + math.radians(degrees))
    columns = np.rint((across + 1.0) / 2.0 * (dots.across - 1)).astype(int)
    rows = np.rint((1.0 - up) / 2.0 * (dots.down - 1)).astype(int)
    dots.curve("trace", columns, rows)
    return dots.lines()
