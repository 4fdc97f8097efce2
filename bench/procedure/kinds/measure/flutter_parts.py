"""Wow and flutter by the parts of the machine that cause it, for the screen."""

from __future__ import annotations

from collections.abc import Sequence

from bench.measure.reading import Reading, Result
from bench.procedure.state.snapshot import FlutterPart

LEAST_SHARE = 0.005
"""Smallest share of the power that is shown; less would be rounded to 0 %. The session keeps all components."""


def parts_of(readings: Sequence[Result]) -> tuple[FlutterPart, ...]:
    """The components of the channel with the strongest one, with the part that turns at each rate; strongest first.

    Both channels read the same tape, so one is enough.
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
