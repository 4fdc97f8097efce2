"""Adds the whole periods that a phase between the channels cannot show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bench.diagnosis.readings.finding import Finding


def delay_us(f: Finding) -> float | None:
    """The delay of a reading of azimuth, µs; None if it has none, or its frequency is unknown."""
    if f.value is None or not f.frequency_hz:
        return None
    if f.quantity == "azimuth_phase":
        return f.value / 360 / f.frequency_hz * 1e6
    return f.value if f.quantity == "azimuth_delay" else None


def with_whole_periods(findings: Sequence[Finding]) -> list[Finding]:
    """The readings, with each delay of a tone in the period that is nearest to the delay of the next lower tone.

    A delay of more than half a period has its whole periods already.
    """
    resolved: dict[int, Finding] = {}
    nearest: dict[object, float] = {}
    for n, f in sorted(enumerate(findings), key=lambda item: item[1].frequency_hz or 0.0):
        us, tape = delay_us(f), (f.stage, f.source)
        if us is None or f.value is None:
            continue
        period = 1e6 / (f.frequency_hz or 1.0)
        whole = round((nearest.get(tape, us) - us) / period) if abs(us) <= 0.5 * period else 0
        one = 360.0 if f.quantity == "azimuth_phase" else period
        resolved[n] = replace(f, value=f.value + whole * one)
        nearest[tape] = us + whole * period
    return [resolved.get(n, f) for n, f in enumerate(findings)]
