"""Wow and flutter as the parts that make it, for the screen: the components that were measured, with their shares."""

from __future__ import annotations

import re
from collections.abc import Sequence

from bench.measure.reading import Reading
from bench.procedure.state.snapshot import FlutterPart

_AS_THE = re.compile(r", as the (.+?),? does$")

LEAST_SHARE = 0.005
"""Of the power: less would be shown as 0 %. It stays in the session."""


def parts_of(readings: Sequence[Reading]) -> tuple[FlutterPart, ...]:
    """The components of the channel that has the strongest, each with the part that turns so often; strongest first.

    Both channels read the same tape, so that one tells it all.
    """
    found = [r for r in readings if r.quantity == "flutter_component" and r.value is not None and r.frequency_hz]
    if not found:
        return ()
    channel = max(found, key=lambda r: r.value or 0.0).channel
    own = sorted((r for r in found if r.channel == channel), key=lambda r: -(r.value or 0.0))
    power = sum((r.value or 0.0) ** 2 for r in own)
    out = []
    for r in own:
        value = r.value or 0.0
        if value**2 < LEAST_SHARE * power:
            continue
        named = _AS_THE.search(r.method)
        out.append(FlutterPart(named[1] if named else "unknown", r.frequency_hz or 0.0, value, value**2 / power))
    return tuple(out)
