"""Finds dead, inverted and swapped channels and a monitor switch at source, whose signs are unmistakable.

Each is found first, and the affected readings are corrected or removed before other causes are weighed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from bench.diagnosis.machine import Machine
from bench.diagnosis.readings.finding import Finding
from bench.diagnosis.readings.periods import delay_us, with_whole_periods

LEVELS = ("level", "record_replay_level")
DEAD_DB = -20.0
"""A channel this low is dead: no trimmer has such a range."""
SWAPPED_DB = -20.0
"""If separation reads lower than this, the channels are swapped."""
ALL_BUT = 0.85
"""Share of tones that read the same as the source if the monitor switch is there; the others are mistakes."""
SAME_DB = 0.05
"""No tape repeats so well. Common practice, no source: levels off tape wander by 0.05 to 0.5 dB."""
SURE = 0.985
DELAY_US = 5.0
"""Standard deviation of delays at different tones of one tape, including the difference between the channels."""


@dataclass(frozen=True, slots=True)
class Sign:
    """A cause found by an unmistakable sign."""

    name: str
    title: str
    channel: str
    probability: float
    seen_in: tuple[Finding, ...]
    mended_by: str


def find_signs(findings: Sequence[Finding], machine: Machine) -> tuple[list[Sign], list[Finding]]:
    """The causes found by signs, and the remaining readings, corrected for them."""
    out: list[Sign] = []
    left = with_whole_periods(findings)
    for find in (_dead, _swapped, _monitor, _inverted):
        sign, left = find(left, machine)
        out += [sign] if sign else []
    return out, left


def _dead(findings: list[Finding], machine: Machine) -> tuple[Sign | None, list[Finding]]:
    levels = [f for f in findings if f.quantity in LEVELS and f.value is not None]
    if len({f.channel for f in levels}) > 1 and all((f.value or 0.0) < DEAD_DB for f in levels):
        sign = Sign("dead-channel", "dead channel", "both", SURE, tuple(levels), "find the break")
        sources = {f.source for f in levels}
        return sign, [f for f in findings if f.source not in sources]
    for channel, other in (("left", "right"), ("right", "left")):
        mine = [f for f in findings if f.channel == channel and f.quantity in (*LEVELS, "response")]
        theirs = [f for f in findings if f.channel == other and f.quantity in (*LEVELS, "response")]
        low = [f for f in mine if f.quantity in LEVELS and f.value is not None and f.value < DEAD_DB]
        missing = [f for f in mine if f.value is None]
        heard = [f for f in theirs if f.value is not None and (f.quantity == "response" or f.value > DEAD_DB + 8)]
        read = [f for f in mine if f.value is not None]
        if heard and (low or (len(missing) >= 2 and not read)):
            sources = {f.source for f in (*low, *missing)}
            probability = SURE if low or len(missing) >= 3 else 0.9
            sign = Sign("dead-channel", "dead channel", channel, probability, tuple(low or missing), "find the break")
            both = ("both", "left-right")
            return sign, [f for f in findings if f.source not in sources or f.channel not in (channel, *both)]
    return None, findings


def _swapped(findings: list[Finding], machine: Machine) -> tuple[Sign | None, list[Finding]]:
    seen = [f for f in findings if f.quantity == "separation" and f.value is not None and f.value < SWAPPED_DB]
    if not seen:
        return None, findings
    sign = Sign("swapped-channels", "swapped channels", "both", SURE, tuple(seen), "exchange the leads of the channels")
    return sign, [replace(f, value=-f.value) if f in seen and f.value is not None else f for f in findings]


def _monitor(findings: list[Finding], machine: Machine) -> tuple[Sign | None, list[Finding]]:
    own = [f for f in findings if f.source == "record-replay" and f.value is not None]
    tones = [f for f in own if f.quantity in (*LEVELS, "response")]
    flat = [f for f in tones if abs(f.value or 0.0) < 0.15]
    third = [f for f in own if f.quantity == "third_harmonic" and (f.value or 0.0) < 0.12]
    quiet = [f for f in own if f.quantity == "signal_to_noise" and (f.value or 0.0) > 68.0]
    all_flat = len(flat) >= ALL_BUT * len(tones)
    even = len(tones) >= 6 and all_flat
    same = even and sum(abs(f.value or 0.0) < SAME_DB for f in tones) >= ALL_BUT * len(tones)
    score = 2.5 * even + 2.5 * same + 3.0 * bool(third) + 2.5 * bool(quiet)
    if score < 5.0 or not all_flat:
        return None, findings
    probability = 1 / (1 + math.exp(1.0 - score))
    seen = (*third, *quiet, *flat[:4])
    sign = Sign("monitor-at-source", "monitor switch at source", "both", probability, seen, "switch it to tape")
    return sign, [f for f in findings if f.source != "record-replay"]


def _inverted(findings: list[Finding], machine: Machine) -> tuple[Sign | None, list[Finding]]:
    odds = math.log(0.02)
    seen: list[Finding] = []
    for f in findings:
        if f.quantity == "mono_sum" and f.value is not None and f.frequency_hz != 0:
            odds += 7.0 if f.value < -8.0 else -7.0 if f.value > -3.0 else 0.0
            seen += [f] if f.value < -8.0 else []
    polarity = {(f.stage, f.source): f for f in findings if f.quantity == "polarity" and f.value is not None}
    for f in polarity.values():
        odds += 7.0 if abs(f.value or 0.0) > 90.0 else -7.0
        seen += [f] if abs(f.value or 0.0) > 90.0 else []
    mended: dict[str, Finding] = {}
    for group in {(f.stage, f.source) for f in findings if f.quantity in ("azimuth_delay", "azimuth_phase")}:
        if group in polarity:
            continue  # the delays were measured with the inverted channel put right
        delays = [f for f in findings if (f.stage, f.source) == group and delay_us(f) is not None]
        as_read, corrected, put = _fit_delay(delays, machine)
        odds += max(-12.0, min(12.0, as_read - corrected))
        mended |= put
        seen += delays if as_read > corrected + 2 else []
    probability = 1 / (1 + math.exp(-max(-30.0, min(30.0, odds))))
    if probability < 0.05:
        return None, findings
    sign = Sign(
        "inverted-channel",
        "inverted channel",
        "both",
        min(probability, SURE),
        tuple(seen),
        "reverse the leads of one channel",
    )
    if probability < 0.5:
        return sign, findings
    return sign, [mended.get(f.id, f) for f in findings]


def _fit_delay(delays: list[Finding], machine: Machine) -> tuple[float, float, dict[str, Finding]]:
    """Half the chi-squared of a common delay, as read and without half a period; and the readings without it."""
    usual = 8.0 * machine.us_per_arcmin

    def misfit(values: list[float]) -> float:
        middle = sum(values) / (len(values) + (DELAY_US / usual) ** 2)
        return 0.5 * sum(((v - middle) / DELAY_US) ** 2 for v in values) + 0.5 * (middle / usual) ** 2

    read = [(f, delay_us(f) or 0.0, 1e6 / (f.frequency_hz or 1e4)) for f in delays]
    if not read:
        return 0.0, 0.0, {}
    lowest = max(read, key=lambda item: item[2])
    first = min((lowest[1] + s * lowest[2] / 2 for s in (1, -1)), key=abs)
    corrected = [us - period / 2 - period * round((us - period / 2 - first) / period) for _, us, period in read]
    put = {
        f.id: replace(f, quantity="azimuth_delay", unit="µs", value=us)
        for (f, _, _), us in zip(read, corrected, strict=True)
    }
    return misfit([us for _, us, _ in read]), misfit(corrected), put
