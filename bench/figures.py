"""Figures that every room writes: numbers with a true minus sign, numbers to significant digits, and frequencies."""

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


def as_given(value: float, digits: int = 6) -> str:
    """A number as it was given, to so many digits, with a true minus sign: "−12", "0.25"."""
    if not isfinite(value):
        return f"{value:g}"
    text = f"{Decimal(f'{abs(value):.{digits}g}').normalize():f}"
    return text if value >= 0 or text == "0" else MINUS + text


def significant(value: float, digits: int, rounding: str) -> Decimal:
    """A number rounded to significant digits, by one of the rounding modes of `decimal`."""
    exact = Decimal(repr(float(value)))  # the shortest decimal: 0.05 stays 0.05, whatever the float holds beyond it
    if not exact:
        return Decimal(0)
    for _ in range(2):  # 0.0996 becomes 0.100, which is 0.10
        exact = exact.quantize(Decimal(1).scaleb(exact.adjusted() - digits + 1), rounding=rounding)
    return exact
