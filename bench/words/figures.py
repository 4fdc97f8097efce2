"""Figures: values with their decimals, uncertainties, levels and angles."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from bench.figures import MINUS, hertz, number, significant
from bench.measure.catalogue import UNITS, Unit
from bench.measure.reading import Bound

_BOUND_DIGITS = 3


def figure(value: float, unit: str, uncertainty: float = 0.0, *, bound: Bound | None = None, sign: bool = False) -> str:
    """A value to the place of its uncertainty, without it: "−0.12"; a bound with its word: "at least 52.1".

    Source: JCGM 100:2008 (GUM), 7.2.6: a value is rounded to be consistent with its uncertainty.

    Args:
        value: in `unit`.
        unit: determines the decimals where there is no uncertainty.
        uncertainty: expanded; 0 where there is none.
        bound: the side of which the value is the limit; it is rounded to three digits, so that the bound stays true.
        sign: whether a positive figure has a plus sign.
    """
    if bound:
        safe = significant(value, _BOUND_DIGITS, ROUND_FLOOR if bound == "at least" else ROUND_CEILING)
        return f"{bound} {number(float(safe), _places(safe), sign=sign)}"
    return number(value, places_of(uncertainty, unit) if uncertainty else _unit(unit).decimals, sign=sign)


def places_of(uncertainty: float, unit: str) -> int:
    """Decimal places that an uncertainty leaves to its value; negative where tens are rounded."""
    return _places(_rounded_up(uncertainty, unit))


def plus_minus(uncertainty: float, unit: str) -> str:
    """An expanded uncertainty to at most two significant digits, never rounded down: "± 0.06".

    Source: JCGM 100:2008 (GUM), 7.2.6: at most two significant digits, rounded up rather than to the nearest.
    """
    return f"± {_rounded_up(uncertainty, unit):f}"


def with_uncertainty(
    value: float, unit: str, uncertainty: float, *, bound: Bound | None = None, sign: bool = False
) -> str:
    """A value and its uncertainty to the same place: "−0.12 ± 0.05"; arguments as in `figure`."""
    text = figure(value, unit, uncertainty, bound=bound, sign=sign)
    return f"{text} {plus_minus(uncertainty, unit)}" if uncertainty else text


def live_decimals(unit: str, tolerance: float | None) -> int:
    """Decimal places of a live figure: a fifth of the tolerance is visible, and no further digit flickers."""
    if tolerance is None:
        return 2 if unit == "%" else 1
    count = UNITS[unit].live_decimals
    while 10.0**-count > tolerance / 4.9 and count < 4:
        count += 1
    return count


def with_unit(text: str, unit: str) -> str:
    """A figure with its unit; a count has no unit."""
    return text if unit == "1" else f"{text} {unit}"


def hertz_tick(hz: float) -> str:
    """A frequency on an axis that is marked "Hz": "125", "12.5k"."""
    return f"{hz / 1000:g}k" if hz >= 1000 else f"{hz:g}"


def decibels(db: float) -> str:
    """A sent level, to 0.1 dB: "−20 dB", "0 dB"."""
    rounded = round(db, 1)
    return f"{rounded:+g} dB".replace("-", MINUS) if rounded else "0 dB"


_SPEEDS = {
    23.8125: "2.38 cm/s (15/16 ips)",
    47.625: "4.76 cm/s (1⅞ ips)",
    95.25: "9.5 cm/s (3¾ ips)",
    190.5: "19 cm/s (7½ ips)",
    381.0: "38 cm/s (15 ips)",
    762.0: "76 cm/s (30 ips)",
}
"""Nominal speeds in the notation of the trade; common practice, no source."""
_NOMINAL_WITHIN = 0.005


def tape_speed(mm_s: float) -> str:
    """A tape speed in the units of the trade: "38 cm/s (15 ips)", "19 cm/s (7½ ips)"."""
    near = (said for nominal, said in _SPEEDS.items() if abs(mm_s / nominal - 1.0) < _NOMINAL_WITHIN)
    return next(near, f"{mm_s / 10:.3g} cm/s ({mm_s / 25.4:.3g} ips)")


def tone(hz: float | None, db: float | None) -> str:
    """A tone and the level at which it is sent: "10 kHz, −20 dB"; "" without either."""
    return ", ".join(([hertz(hz)] if hz else []) + ([decibels(db)] if db is not None else []))


def rotation(degrees: float) -> str:
    """How far a trimmer is turned: "14° anticlockwise"."""
    angle = f"{number(abs(degrees), 0)}°"
    return angle if round(degrees) == 0 else f"{angle} {'clockwise' if degrees > 0 else 'anticlockwise'}"


def _unit(sign: str) -> Unit:
    return UNITS.get(sign, Unit())


def _rounded_up(uncertainty: float, unit: str) -> Decimal:
    if not uncertainty:
        return Decimal(0)
    rounded, finest = significant(uncertainty, 2, ROUND_CEILING), Decimal(repr(_unit(unit).finest))
    return rounded if _places(rounded) <= _places(finest) else rounded.quantize(finest, rounding=ROUND_CEILING)


def _places(rounded: Decimal) -> int:
    """Decimal places of a rounded number; negative where tens or hundreds are rounded."""
    return -int(rounded.as_tuple().exponent)
