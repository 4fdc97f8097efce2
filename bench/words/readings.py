"""Readings, and what they should be."""

from __future__ import annotations

from bench.measure.reading import NoReading, Result
from bench.measure.verdict import Verdict
from bench.words.figures import as_given, figure, spread, with_unit


def value_text(reading: Result, *, unit: bool = False) -> str:
    """A reading in words: "−0.12 ± 0.05", "at least 52.1", "no reading"."""
    if isinstance(reading, NoReading):
        return "no reading"
    text = figure(reading.value, reading.unit, reading.uncertainty)
    if reading.bound:
        text = f"{reading.bound} {text}"
    if reading.uncertainty:
        text += f" {spread(reading.uncertainty, reading.unit)}"
    return with_unit(text, reading.unit) if unit else text


def target_text(verdict: Verdict | None) -> str:
    """What it should be: "−12 ± 0.5"."""
    if verdict is None:
        return "none"
    value = as_given(verdict.target)
    if verdict.limit:
        return f"{verdict.limit} {value}"
    return value if verdict.tolerance is None else f"{value} ± {verdict.tolerance:g}"
