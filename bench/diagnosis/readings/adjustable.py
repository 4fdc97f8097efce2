"""Readings that a trimmer sets, and which of them are out of tolerance: the machine needs lining up."""

from __future__ import annotations

from collections.abc import Iterable

from bench.diagnosis.readings.finding import STAGES, Finding, Source, Stage

TOLERANCE = {
    "level": 1.0,
    "record_replay_level": 1.0,
    "response": 3.0,
    "azimuth_delay": 15.0,
    "azimuth_angle": 6.0,
    "speed_error": 0.5,
}
"""What is left alone where nobody gave a tolerance, in the unit of the reading. Common practice, no source."""


def out_of_line(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The readings out of tolerance at the last stage at which their source was read, the furthest out first."""
    tapes = ("reference-tape", "record-replay")
    kept = [f for f in findings if f.quantity in TOLERANCE and f.source in tapes and f.value is not None]
    last: dict[Source, Stage] = {}
    for f in kept:
        last[f.source] = max(f.stage, last.get(f.source, f.stage), key=STAGES.index)
    out = [f for f in kept if f.stage == last[f.source] and (f.out if f.out is not None else _times(f) > 1.0)]
    return tuple(sorted(out, key=_times, reverse=True))


def _times(finding: Finding) -> float:
    """How many times its usual tolerance a reading is."""
    return abs(finding.value or 0.0) / TOLERANCE[finding.quantity]
