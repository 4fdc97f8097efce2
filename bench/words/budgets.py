"""Sources of uncertainty of a reading, in words."""

from __future__ import annotations

from bench.measure.catalogue import UNITS
from bench.measure.reading import Reading, Result, Source
from bench.words.figures import plus_minus, with_unit

SOURCES: dict[Source, str] = {
    "noise": "noise beside the tone",
    "method": "limits of the method",
    "ends of the tone": "ends of the tone, left out with their fades",
    "dropouts": "dropouts: their slopes, and those too shallow to see",
    "wander": "wander seen within the tone",
    "slower wander": "wander slower than the tone is long",
    "other stretches": "other stretches of the same machine",
    "other passes": "other passes: contact, warmth, tape",
    "reference tape": "the reference tape",
    "interface": "the interface",
    "other reading": "the reading it is relative to",
    "lossy coding": "lossy coding on the way",
    "what was recorded": "how well it is known what was recorded",
}


def budget_lines(reading: Result) -> tuple[str, ...]:
    """A line for each source of uncertainty, largest first: "± 0.12 dB: the reference tape".

    Empty where there is no reading, or no source is known. The last line gives the uncertainty for this stretch of
    sound alone.
    """
    if not isinstance(reading, Reading) or not reading.budget:
        return ()
    parts = sorted((c for c in reading.budget if c.value), key=lambda c: -c.value)
    unit = UNITS[reading.unit].of_a_difference or reading.unit
    lines = [f"{with_unit(plus_minus(2 * c.value, unit), unit)}: {SOURCES[c.source]}" for c in parts]
    own = reading.tone_uncertainty
    if reading.of_the_machine and own:
        lines.append(f"{with_unit(plus_minus(own, unit), unit)}: this stretch of sound alone")
    return tuple(lines)
