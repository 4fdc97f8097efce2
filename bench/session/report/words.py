"""How figures, quantities and verdicts are put into words: for the report, its plain text and its plots."""

from __future__ import annotations

import math
import re
from datetime import date, datetime

from bench.measure.reading import UNITS, Channel, Reading
from bench.procedure.model.steps import Stage
from bench.procedure.model.targets import Verdict, VerdictWord
from bench.procedure.state.journal import ReadingRecord

QUANTITIES: dict[str, str] = {
    "level": "Level",
    "balance": "Balance",
    "response": "Response",
    "azimuth_delay": "Azimuth, delay",
    "azimuth_angle": "Azimuth, angle",
    "azimuth_phase": "Azimuth, phase",
    "azimuth_weave": "Azimuth weave",
    "speed_error": "Speed error",
    "speed_drift": "Speed drift",
    "wow_and_flutter": "Wow and flutter",
    "flutter_component": "Flutter component",
    "noise": "Noise",
    "signal_to_noise": "Signal to noise",
    "hum": "Hum",
    "third_harmonic": "Third harmonic",
    "second_harmonic": "Second harmonic",
    "thd": "Harmonic distortion",
    "maximum_output_level": "Maximum output level",
    "saturated_output_level": "Saturated output level",
    "separation": "Separation",
    "erasure": "Erasure",
    "mono_sum": "Mono sum",
    "dropout_count": "Dropouts",
    "dropout_rate": "Dropout rate",
    "dropout_depth": "Dropout depth",
    "dropout_length": "Dropout length",
    "record_replay_level": "Record-to-replay level",
    "overbias": "Past the peak of bias",
    "mistracking": "Mistracking",
    "encoding_error": "Encoding error",
    "decoding_error": "Decoding error",
    "linearity": "Linearity",
    "full_scale_output": "Full scale, output",
    "full_scale_input": "Full scale, input",
    "clock_error": "Clock error",
}
STAGES: dict[Stage, str] = {
    "found-dirty": "as found, before cleaning",
    "found-clean": "as found, after cleaning",
    "left": "as left",
}
CHANNELS: dict[Channel, str] = {
    "left": "left",
    "right": "right",
    "mono": "one channel",
    "both": "both",
    "left-right": "left to right",
}
SIGNS: dict[VerdictWord, str] = {"in": "●", "out": "▲", "too close to call": "◆", "no reading": "○"}
"""A shape for each verdict, so that colour is never alone."""

NO_BREAK = "\N{NO-BREAK SPACE}"

_PLACES = {"%": 3, "degrees": 1, "1": 0, "per minute": 1}
"""Decimal places at most; 2 for every other unit."""


def figure(value: float, unit: str, uncertainty: float | None = None, *, sign: bool = False) -> str:
    """A number with the places that its uncertainty leaves it, and a true minus sign: "−0.12"."""
    places = decimals(unit, uncertainty)
    text = f"{value:+.{places}f}" if sign else f"{value:.{places}f}"
    if float(text) == 0:
        text = f"{0:.{places}f}"
    return text.replace("-", "−")


def decimals(unit: str, uncertainty: float | None) -> int:
    """Places after the point: two figures of the uncertainty, as long as the unit makes sense of them."""
    most = _PLACES.get(unit, 2)
    if uncertainty is None or uncertainty <= 0:
        return most
    return max(0, min(most, 1 - math.floor(math.log10(uncertainty))))


def spread(uncertainty: float, unit: str) -> str:
    """An expanded uncertainty, rounded up: "± 0.06"."""
    places = decimals(unit, uncertainty)
    step = 10.0**-places
    # A hair less, so that 0.05 does not become 0.06 by the way a float is held.
    return f"± {math.ceil(uncertainty / step - 1e-9) * step:.{places}f}"


def with_unit(text: str, unit: str) -> str:
    """A figure and its unit, which a count has not."""
    return text if unit == "1" else f"{text} {unit}"


def value_text(reading: Reading, *, unit: bool = False) -> str:
    """A reading in words: "−0.12 ± 0.05", "at least 52.1", "no reading"."""
    if reading.value is None:
        return "no reading"
    text = figure(reading.value, reading.unit, reading.uncertainty)
    if reading.bound:
        text = f"{reading.bound} {text}"
    if reading.uncertainty:
        text += f" {spread(reading.uncertainty, reading.unit)}"
    return with_unit(text, reading.unit) if unit else text


def target_text(verdict: Verdict | None) -> str:
    """What it should be: "−12 ± 0.5"."""
    if verdict is None or verdict.target is None:
        return "none"
    value = plain(verdict.target)
    if verdict.limit:
        return f"{verdict.limit} {value}"
    return value if verdict.tolerance is None else f"{value} ± {verdict.tolerance:g}"


def plain(value: float) -> str:
    """A number as it was given, with a true minus sign: "−12", "0.25"."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", "0"} else text.replace("-", "−")


def true_minus(text: str) -> str:
    """Text with a true minus sign before each number that has one."""
    return re.sub(r"(?<![\w-])-(?=\d)", "−", text)


def hertz(hz: float) -> str:
    """A frequency: "315 Hz", "12.5 kHz"."""
    return f"{hz / 1000:.4g} kHz" if hz >= 1000 else f"{hz:.4g} Hz"


def decibels(db: float) -> str:
    """A sent level: "−20 dB", "0 dB"."""
    return f"{db:+g} dB".replace("-", "−") if db else "0 dB"


def tone(record: ReadingRecord) -> str:
    """The tone of a reading: "10 kHz, −20 dB"; "" without one."""
    parts = [hertz(record.reading.frequency_hz)] if record.reading.frequency_hz else []
    if record.sent_db is not None:
        parts.append(decibels(record.sent_db))
    return ", ".join(parts)


def what(record: ReadingRecord) -> str:
    """What was measured where: "response, left, record-replay"."""
    return f"{QUANTITIES[record.reading.quantity].lower()}, {CHANNELS[record.reading.channel]}, {record.source}"


def unit_in_words(quantity: str) -> str:
    """The unit of a quantity as a column heads it."""
    unit = UNITS[quantity]
    return "count" if unit == "1" else unit


def day(moment: date) -> str:
    """A date as anybody reads it: "3 May 2026"."""
    return f"{moment.day} {moment:%B %Y}"


def hour(moment: datetime) -> str:
    """The time of day."""
    return f"{moment:%H:%M}"


def listed(items: list[str]) -> str:
    """Items in a sentence: "a, b and c"."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def inert(text: str) -> str:
    """Text in one line, without the characters that a terminal or a page would act on."""
    return "".join(
        c if c.isprintable() or c == NO_BREAK else " " if c.isspace() else "\N{REPLACEMENT CHARACTER}" for c in text
    )
