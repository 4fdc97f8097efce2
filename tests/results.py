"""Helpers to make and to check measurement results."""

from __future__ import annotations

from typing import Any

from bench.measure.reading import Channel, NoReading, Reading, Result


def a_reading(result: Result | None) -> Reading:
    """The result as a `Reading`. Fails with the reason where it is none."""
    assert isinstance(result, Reading), result.reason if result else "there is nothing at all"
    return result


def no_reading(result: Result | None) -> NoReading:
    """The result as a `NoReading`. Fails where it is a reading."""
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
    """A `Reading`, or a `NoReading` where there is no value; `more` are fields that both have."""
    if value is None:
        return NoReading(quantity, channel, reason, **more)
    return Reading(quantity, channel, value, uncertainty, **more)
