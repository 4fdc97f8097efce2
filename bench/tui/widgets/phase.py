"""Azimuth as a phase figure: left against right of one tone, a slanted line when both are alike, a ring when not."""

from __future__ import annotations

import math

import numpy as np

from bench.procedure.state.snapshot import Gauge
from bench.tui.widgets.braille import Dots
from bench.tui.widgets.line_widget import Line
from bench.words.figures import hertz, number

POINTS = 96


def phase_of(gauge: Gauge) -> tuple[float, float] | None:
    """Phase in degrees, −180 to 180, and its frequency, from a delay read at one frequency; None for anything else."""
    reading = gauge.measured
    if reading is None or reading.quantity != "azimuth_delay" or not reading.frequency_hz:
        return None
    degrees = 360.0 * reading.frequency_hz * reading.value * 1e-6
    return (degrees + 180.0) % 360.0 - 180.0, reading.frequency_hz


def phase_lines(degrees: float, height: int) -> list[Line]:
    """The figure, twice as many cells wide as high, so that it looks square."""
    dots = Dots(height * 2, height)
    at = np.linspace(0.0, 2.0 * math.pi, POINTS)
    across, up = np.sin(at), np.sin(at + math.radians(degrees))
    columns = np.rint((across + 1.0) / 2.0 * (dots.across - 1)).astype(int)
    rows = np.rint((1.0 - up) / 2.0 * (dots.down - 1)).astype(int)
    dots.curve("trace", columns, rows)
    return dots.lines()


def phase_words(gauge: Gauge) -> str:
    """The phase in words: "phase −62° at 10 kHz", and when the delay is past half a period that it is."""
    found, reading = phase_of(gauge), gauge.measured
    if found is None or reading is None:
        return ""
    degrees, hz = found
    periods = abs(reading.value) * 1e-6 * hz
    more = ", past half a period" if periods > 0.5 else ""
    return f"phase {number(degrees, 0, sign=True)}° at {hertz(hz)}{more}"
