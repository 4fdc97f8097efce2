"""Finds the reference frequency of responses that do not state it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bench.diagnosis.machine import Machine
from bench.diagnosis.readings.finding import Finding, Source, Stage
from bench.diagnosis.readings.wiring import LEVELS

USUAL_HZ = (315.0, 333.0, 400.0, 1000.0)


def with_references(findings: Sequence[Finding], machine: Machine) -> list[Finding]:
    """The readings, with the reference frequency of each response.

    A tone that reads exactly 0 in both channels is the reference. Otherwise it is the tone at which the level was read,
    or else the usual one of the source, unless that tone has a response itself; then it is another usual one without.
    """
    levels = {(f.stage, f.source): f.frequency_hz for f in findings if f.quantity in LEVELS and f.frequency_hz}
    groups: dict[tuple[Stage, Source], list[Finding]] = {}
    for f in findings:
        if f.quantity == "response" and f.frequency_hz:
            groups.setdefault((f.stage, f.source), []).append(f)
    found = {
        group: _reference(some, [levels.get(group), usual_reference_hz(group[1], machine), *reversed(USUAL_HZ)])
        for group, some in groups.items()
    }
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


def _reference(findings: Sequence[Finding], likely: Sequence[float | None]) -> float:
    """The reference of these responses.

    Args:
        findings: the responses of one stage and source.
        likely: frequencies that it may be, the likeliest first.
    """
    values: dict[float, list[float | None]] = {}
    for f in findings:
        if f.frequency_hz:
            values.setdefault(f.frequency_hz, []).append(f.value)
    zero = [hz for hz, read in values.items() if all(v == 0.0 for v in read)]
    given = [hz for hz in likely if hz is not None]
    return zero[0] if len(zero) == 1 else next((hz for hz in given if hz not in values), given[0])
