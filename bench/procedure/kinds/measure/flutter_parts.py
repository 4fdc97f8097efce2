"""Wow and flutter as the parts that make it, for the screen: the components that were measured, with their shares."""

from __future__ import annotations

from collections.abc import Sequence

from bench.measure.reading import Reading, Result
from bench.procedure.state.snapshot import FlutterPart

LEAST_SHARE = 0.005
"""Of the power: less would be shown as 0 %. It stays in the session."""


def parts_of(readings: Sequence[Result]) -> tuple[FlutterPart, ...]:
    """The components of the channel that has the strongest, each with the part that turns so often; strongest first.

    Both channels read the same tape, so that one tells it all.
    """
    found = [r for r in readings if r.quantity == "flutter_component" and isinstance(r, Reading)]
    if not found:
        return ()
    channel = max(found, key=lambda r: r.value).channel
    own = sorted((r for r in found if r.channel == channel), key=lambda r: -r.value)
    power = sum(r.value**2 for r in own)
    return tuple(
        FlutterPart(r.method.part or "unknown", r.frequency_hz, r.value, r.value**2 / power)
        for r in own
        if r.frequency_hz and r.value**2 >= LEAST_SHARE * power
    )
