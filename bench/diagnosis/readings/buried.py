"""Finds the tones of one channel that noise buries, because the other channel was read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bench.diagnosis.readings.finding import Finding


def with_buried(findings: Sequence[Finding]) -> list[Finding]:
    """The readings, with each response that is missing in one channel only marked as buried.

    A tone that neither channel has may never have been played.
    """
    read = {_tone(f) for f in findings if f.quantity == "response" and f.value is not None}
    missing = [f.quantity == "response" and f.value is None and _tone(f) in read for f in findings]
    return [replace(f, buried=True) if no_tone else f for f, no_tone in zip(findings, missing, strict=True)]


def _tone(f: Finding) -> tuple[object, ...]:
    return f.stage, f.source, f.frequency_hz, f.sent_db
