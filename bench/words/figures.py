"""Figures: numbers with their decimals, uncertainties, frequencies and levels."""

from __future__ import annotations

import math

MINUS = "\N{MINUS SIGN}"

_MOST_DECIMALS = {"%": 3, "degrees": 1, "1": 0, "per minute": 1}
"""Of a kept figure; 2 for every other unit."""


def number(value: float, places: int, *, sign: bool = False) -> str:
    """A figure with a true minus sign; with `sign` a plus sign too. Never "−0.0"."""
    text = f"{abs(value):.{places}f}"
    if float(text) == 0:
        return text
    return (MINUS if value < 0 else "+" if sign else "") + text


def figure(value: float, unit: str, uncertainty: float | None = None, *, sign: bool = False) -> str:
    """A number with the places that its uncertainty leaves it, and a true minus sign: "−0.12"."""
    return number(value, decimals(unit, uncertainty), sign=sign)


def decimals(unit: str, uncertainty: float | None) -> int:
    """Places after the point: two figures of the uncertainty, as long as the unit makes sense of them."""
    most = _MOST_DECIMALS.get(unit, 2)
    if uncertainty is None or uncertainty <= 0:
        return most
    return max(0, min(most, 1 - math.floor(math.log10(uncertainty))))


def live_decimals(unit: str, tolerance: float | None) -> int:
    """Places of a figure that moves: a fifth of the tolerance can be seen, and no more flickers."""
    least = 0 if unit in ("µs", "degrees", "1", "ms") else 1
    if tolerance is None:
        return 2 if unit == "%" else 1
    count = least
    while 10.0**-count > tolerance / 4.9 and count < 4:
        count += 1
    return count


def spread(uncertainty: float, unit: str) -> str:
    """An expanded uncertainty, rounded up: "± 0.06"."""
    places = decimals(unit, uncertainty)
    step = 10.0**-places
    # A hair less, so that 0.05 does not become 0.06 by the way a float is held.
    return f"± {math.ceil(uncertainty / step - 1e-9) * step:.{places}f}"


def with_unit(text: str, unit: str) -> str:
    """A figure and its unit, which a count has not."""
    return text if unit == "1" else f"{text} {unit}"


def as_given(value: float) -> str:
    """A number as it was given, with a true minus sign: "−12", "0.25"."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", "0"} else text.replace("-", MINUS)


def hertz(hz: float) -> str:
    """A frequency: "315 Hz", "12.5 kHz"."""
    four = float(f"{hz:.4g}")
    return f"{four / 1000:g} kHz" if four >= 1000 else f"{four:g} Hz"


def decibels(db: float) -> str:
    """A sent level: "−20 dB", "0 dB"."""
    return f"{db:+g} dB".replace("-", MINUS) if db else "0 dB"


def tone(hz: float | None, db: float | None) -> str:
    """A tone and the level it is sent at: "10 kHz, −20 dB"; "" without either."""
    return ", ".join(([hertz(hz)] if hz else []) + ([decibels(db)] if db is not None else []))
