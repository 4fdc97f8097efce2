"""Readings, targets and verdicts in words."""

from __future__ import annotations

import math

from bench.figures import as_given, hertz, number
from bench.measure.catalogue import QUANTITIES
from bench.measure.reading import NoReading, Reading, Result
from bench.measure.verdict import Verdict
from bench.words.figures import decibels, with_uncertainty, with_unit
from bench.words.names import CHANNELS


def reading_name(reading: Result) -> str:
    """What a reading measures: "response, left, 10 kHz", "separation, left driven, 1 kHz"."""
    at = [hertz(reading.frequency_hz)] if reading.frequency_hz else []
    return ", ".join([QUANTITIES[reading.quantity].title.lower(), channel_name(reading), *at])


def channel_name(reading: Result) -> str:
    """The channel of a reading; for what leaks into the other one, the channel that was driven."""
    driven = reading.method.driven if isinstance(reading, Reading) else ""
    return f"{driven} driven" if driven else CHANNELS[reading.channel]


def state_words(sent_db: float | None, lot: str, noise_reduction: str, direction: str) -> list[str]:
    """What else distinguishes readings of the same tone: level sent, tape, noise reduction, direction of the tape."""
    words = [decibels(sent_db)] if sent_db is not None else []
    words += [lot] if lot else []
    words += [f"noise reduction {noise_reduction}"] if noise_reduction != "off" else []
    return [*words, *([f"in {direction}"] if direction else [])]


def value_text(reading: Result, *, unit: bool = False) -> str:
    """A reading for a table: "−0.12 ± 0.05", "at least 52.1", "no reading"."""
    if isinstance(reading, NoReading):
        return "no reading"
    text = with_uncertainty(reading.value, reading.unit, reading.uncertainty, bound=reading.bound)
    return with_unit(text, reading.unit) if unit else text


def reading_text(reading: Result) -> str:
    """A reading for a sentence: "−0.12 ± 0.05 dB", "no reading, because no tone was found"."""
    return no_reading_text(reading.reason) if isinstance(reading, NoReading) else value_text(reading, unit=True)


def no_reading_text(reason: str) -> str:
    """Why there is no reading."""
    return f"no reading, because {reason}"


def judged_text(reading: Result, verdict: Verdict | None) -> str:
    """A reading, its target and its verdict: "−12.04 ± 0.12 dBFS, target −12 ± 0.5: in"."""
    said = reading_text(reading)
    if isinstance(reading, NoReading) or verdict is None:
        return said
    return f"{said}, target {target_text(verdict)}: {verdict_text(verdict)}"


def verdict_text(verdict: Verdict) -> str:
    """The word of the verdict, or a note that the target has no tolerance at this frequency."""
    return "no limit here" if verdict.says_nothing else verdict.word


def target_text(verdict: Verdict | None) -> str:
    """The target of a reading: "−12 ± 0.5", "at least 60"."""
    if verdict is None:
        return "none"
    return aim_text(verdict.target, verdict.tolerance, verdict.limit)


def aim_text(target: float, tolerance: float | None, limit: str = "") -> str:
    """A target with its tolerance, or a limit on one side: "−12 ± 0.5", "at least 60".

    It is rounded to a fiftieth of the tolerance or less, or to a thousandth of its unit.
    """
    places = 3
    if tolerance is not None and 0 < tolerance < math.inf:
        places = 2 - math.floor(math.log10(2.0 * tolerance))
    aim = as_given(round(target, places))
    if limit:
        return f"{limit} {aim}"
    return aim if tolerance is None else f"{aim} ± {as_given(tolerance)}"


def phase_of(reading: Result) -> tuple[float, float] | None:
    """Phase of an azimuth delay at its tone: degrees from −180 to 180, and hertz; None for anything else."""
    if isinstance(reading, NoReading) or reading.quantity != "azimuth_delay" or not reading.frequency_hz:
        return None
    degrees = 360.0 * reading.frequency_hz * reading.value * 1e-6
    return (degrees + 180.0) % 360.0 - 180.0, reading.frequency_hz


def phase_text(reading: Result) -> str:
    """The phase in words: "phase −62° at 10 kHz", with a note when the delay exceeds half a period."""
    found = phase_of(reading)
    if found is None or isinstance(reading, NoReading):
        return ""
    degrees, hz = found
    more = ", past half a period" if abs(reading.value) * 1e-6 * hz > 0.5 else ""
    return f"phase {number(degrees, 0, sign=True)}° at {hertz(hz)}{more}"
