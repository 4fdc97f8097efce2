"""Lines of flutter: which part of the transport each belongs to, by its rate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from bench.diagnosis.finding import Finding
from bench.diagnosis.machine import PARTS, Machine, part_named

WITHIN = {"capstan": 0.05, "pinch roller": 0.07, "reel": 0.35, "belt": 0.2, "idler": 0.15}
"""By how much the rate of a part differs from its sheet's, a share (standard); a reel's moves with its pack."""
HARMONICS = ((1, 0.85), (2, 0.15))
NONE = 1 / math.log(2000.0)
"""Density of a line that no part makes: anywhere from 0.1 to 200 Hz on a logarithmic scale."""
LEAST_PERCENT = 0.012


@dataclass(frozen=True, slots=True)
class Lines:
    """The strongest line of each part."""

    peaks: dict[str, float]
    """%, by part."""
    fits: dict[str, float]
    """How much better its rate fits the part than none: the logarithm of the ratio."""
    finding: Finding | None
    """The strongest one as it was read; None where none was."""
    strays: tuple[Finding, ...] = ()
    """Strong lines that no part makes, strongest first."""


def lines_of(findings: Sequence[Finding], machine: Machine) -> Lines:
    """Put each line down to a part."""
    read = [f for f in findings if f.quantity == "flutter_component" and f.value is not None and f.frequency_hz]
    if not read:
        return Lines({}, {}, None)
    least = max(LEAST_PERCENT, 0.5 * min(f.value or 0.0 for f in read))
    peaks: dict[str, float] = dict.fromkeys(machine.parts, least)
    peaks.setdefault("idler", least)
    fits: dict[str, float] = {}
    strays = []
    for f in sorted(read, key=lambda f: f.value or 0.0):
        part, fit = _part(f, machine)
        if part == "idler" and "idler" not in machine.parts:
            strays.append(f)
        peaks[part], fits[part] = max(f.value or 0.0, peaks.get(part, 0.0)), fit
    strongest = max(read, key=lambda f: f.value or 0.0)
    return Lines(peaks, fits, strongest, tuple(reversed(strays)))


def _part(f: Finding, machine: Machine) -> tuple[str, float]:
    """The likeliest part, and the logarithm of how much likelier it is than none."""
    named = part_named(f.part)
    if named in PARTS:
        return str(named), 3.0
    best, fit = "idler", 0.0
    for part, hz in machine.parts.items():
        density = sum(_density(f.frequency_hz or 1.0, n * hz, WITHIN[part]) * share for n, share in HARMONICS)
        ratio = math.log(density / NONE + 1e-9)
        if ratio > fit:
            best, fit = part, ratio
    return best, fit


def _density(hz: float, rate: float, within: float) -> float:
    off = math.log(hz / rate) / within
    return math.exp(-0.5 * off * off) / (within * math.sqrt(2 * math.pi))
