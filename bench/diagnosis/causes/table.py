"""The table of all causes."""

from __future__ import annotations

from bench.diagnosis.causes.cause import Cause
from bench.diagnosis.causes.electronics import ELECTRONICS
from bench.diagnosis.causes.heads import HEADS
from bench.diagnosis.causes.tapes import TAPES
from bench.diagnosis.causes.transport import TRANSPORT

CAUSES = (*HEADS, *ELECTRONICS, *TAPES, *TRANSPORT)
WIRING = ("dead-channel", "inverted-channel", "swapped-channels", "monitor-at-source")
"""Causes with unmistakable signs, found by `bench.diagnosis.readings.wiring`."""


def known_causes(heads: int) -> tuple[Cause, ...]:
    """All causes of a machine with this number of heads."""
    return tuple(c for c in CAUSES if heads in c.heads)
