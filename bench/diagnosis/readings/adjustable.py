"""Finds readings out of tolerance that a trimmer sets, which means that the machine needs lining up."""

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
"""Tolerance where none is given, in the unit of the reading. Common practice, no source."""


def out_of_adjustment(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The readings out of tolerance at the last stage of their source, the furthest out first."""
    tapes = ("reference-tape", "record-replay")
    kept = [f for f in findings if f.quantity in TOLERANCE and f.source in tapes and f.value is not None]
    last: dict[Source, Stage] = {}
    for f in kept:
        last[f.source] = max(f.stage, last.get(f.source, f.stage), key=STAGES.index)
    out = [f for f in kept if f.stage == last[f.source] and (f.out if f.out is not None else _times(f) > 1.0)]
    return tuple(sorted(out, key=_times, reverse=True))


def _times(finding: Finding) -> float:
    """Error of a reading as a multiple of its usual tolerance."""
    return abs(finding.value or 0.0) / TOLERANCE[finding.quantity]
