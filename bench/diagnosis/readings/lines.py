"""Attributes the components of flutter to parts of the transport by their rates."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from bench.diagnosis.machine import Machine, part_named
from bench.diagnosis.readings.finding import Finding

RATE_SPREAD = {"capstan": 0.05, "pinch roller": 0.07, "reel": 0.35, "belt": 0.2, "idler": 0.15}
"""Relative deviation of the rate of a part from its sheet (standard deviation); a reel's changes with its pack."""
NO_PART = 1 / math.log(2000.0)
"""Probability density of a component from no part: uniform from 0.1 to 200 Hz on a logarithmic scale."""
LEAST_PERCENT = 0.012


@dataclass(frozen=True, slots=True)
class Lines:
    """The strongest component of each part."""

    peaks: dict[str, float]
    """Peak in %, by part."""
    finding: Finding | None
    """The reading of the strongest component; None if there is none."""


def attribute_lines(findings: Sequence[Finding], machine: Machine) -> Lines:
    """Attribute each component to a part: by its rate, as second harmonic of a stronger one, or else to an idler."""
    read = [f for f in findings if f.quantity == "flutter_component" and f.value is not None and f.frequency_hz]
    if not read:
        return Lines({}, None)
    least = max(LEAST_PERCENT, 0.5 * min(f.value or 0.0 for f in read))
    peaks: dict[str, float] = dict.fromkeys(machine.parts, least) | {"idler": least}
    later = []
    for f in read:
        part = part_named(f.part) or _part(f.frequency_hz or 1.0, machine)
        if part is None:
            later.append(f)
        else:
            peaks[part] = max(f.value or 0.0, peaks.get(part, 0.0))
    for f in later:
        part = _part(0.5 * (f.frequency_hz or 1.0), machine)
        if part is None or (f.value or 0.0) > peaks[part]:
            peaks["idler"] = max(f.value or 0.0, peaks["idler"])
    return Lines(peaks, max(read, key=lambda f: f.value or 0.0))


def _part(hz: float, machine: Machine) -> str | None:
    """The part whose rate fits best; None if none fits better than chance."""
    fits = {part: _density(hz, rate, RATE_SPREAD[part]) for part, rate in machine.parts.items()}
    best = max(fits, key=lambda part: fits[part])
    return best if fits[best] > NO_PART else None


def _density(hz: float, rate: float, spread: float) -> float:
    off = math.log(hz / rate) / spread
    return math.exp(-0.5 * off * off) / (spread * math.sqrt(2 * math.pi))
