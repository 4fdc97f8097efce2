"""Finds the reference frequency of responses that do not state it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bench.diagnosis.machine import Machine
from bench.diagnosis.readings.finding import Finding

USUAL_HZ = (315.0, 333.0, 400.0, 1000.0)


def with_references(findings: Sequence[Finding], machine: Machine) -> list[Finding]:
    """The readings, with the reference frequency of each response.

    A tone that reads exactly 0 in both channels is the reference. Otherwise it is the usual one of the source, unless
    that tone has a reading itself; then it is another usual one without a reading.
    """
    groups: dict[tuple[str, str], list[Finding]] = {}
    for f in findings:
        if f.quantity == "response" and f.frequency_hz:
            groups.setdefault((f.stage, f.source), []).append(f)
    found = {group: _reference(some, group[1], machine) for group, some in groups.items()}
    return [
        replace(f, reference_hz=f.reference_hz or found[f.stage, f.source])
        if f.quantity == "response" and (f.stage, f.source) in found
        else f
        for f in findings
    ]


def usual_reference_hz(source: str, machine: Machine) -> float:
    """315 Hz for a reference cassette, 400 Hz for a recording on cassette, 1 kHz for open reel."""
    if not machine.cassette:
        return 1000.0
    return 315.0 if source == "reference-tape" else 400.0


def _reference(findings: Sequence[Finding], source: str, machine: Machine) -> float:
    values: dict[float, list[float]] = {}
    for f in findings:
        if f.value is not None and f.frequency_hz:
            values.setdefault(f.frequency_hz, []).append(f.value)
    zero = [hz for hz, read in values.items() if all(v == 0.0 for v in read)]
    usual = usual_reference_hz(source, machine)
    if len(zero) == 1:
        return zero[0]
    if usual in values:
        return next((hz for hz in reversed(USUAL_HZ) if hz not in values), usual)
    return usual
