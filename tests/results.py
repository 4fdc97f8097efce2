"""Measurement results as tests make and expect them: a reading, or none."""

from __future__ import annotations

from typing import Any

from bench.measure.reading import Channel, NoReading, Reading, Result


def a_reading(result: Result | None) -> Reading:
    """The reading. Fails with the reason where there is none."""
    assert isinstance(result, Reading), result.reason if result else "there is nothing at all"
    return result


def no_reading(result: Result | None) -> NoReading:
    """Its absence. Fails where there is a reading."""
    assert isinstance(result, NoReading), result
    return result


def result(
    quantity: str,
    channel: Channel,
    value: float | None,
    uncertainty: float = 0.1,
    *,
    reason: str = "it was silent",
    **more: Any,
) -> Result:
    """A reading, or none where there is no value; `more` of what both may say."""
    if value is None:
        return NoReading(quantity, channel, reason, **more)
    return Reading(quantity, channel, value, uncertainty, **more)
