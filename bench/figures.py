"""Figures that every room writes: numbers with a true minus sign, and frequencies."""

from __future__ import annotations

from decimal import Decimal
from math import isfinite

MINUS = "\N{MINUS SIGN}"


def number(value: float, places: int, *, sign: bool = False) -> str:
    """A figure with a true minus sign; with `sign` a plus sign too. Never "−0.0".

    Args:
        value: any finite number.
        places: decimal places; −1 rounds to tens.
        sign: whether a positive figure has a plus sign.
    """
    size = abs(value) if places >= 0 else round(abs(value), places)
    text = f"{size:.{max(places, 0)}f}"
    if float(text) == 0:
        return text
    return (MINUS if value < 0 else "+" if sign else "") + text


def hertz(hz: float) -> str:
    """A frequency to four digits: "315 Hz", "12.5 kHz"."""
    four = float(f"{hz:.4g}")
    return f"{four / 1000:g} kHz" if four >= 1000 else f"{four:g} Hz"


def as_given(value: float) -> str:
    """A number as it was given, to six digits, with a true minus sign: "−12", "0.25"."""
    if not isfinite(value):
        return f"{value:g}"
    text = f"{Decimal(f'{abs(value):.6g}').normalize():f}"
    return text if value >= 0 or text == "0" else MINUS + text
