"""Speed: how much faster or slower than nominal a tape runs, from the frequency of a tone recorded at a known one.

Formula: speed_error = 100 (f / f_nominal - 1) %, positive when the tape runs fast; speed_drift = the speed at the
end of the tone minus that at its start, by a straight line. Reference: the nominal frequency and the clock of the
sound interface, whose own error (tens of parts in a million) is not in the uncertainty.
Source: IEC 60386 measures with 3150 Hz; 3000 Hz is used by JIS and NAB (from memory).
"""

from __future__ import annotations

from bench.measure.finder import FoundTone, side_of
from bench.measure.names import Reading, no_reading

METHOD = "slope of the tracked phase, least squares"


def speed_of_tone(tone: FoundTone, nominal_hz: float) -> list[Reading]:
    """`speed_error` of each channel, %.

    Args:
        tone: as found.
        nominal_hz: what was recorded.
    """
    out = []
    for c, t in enumerate(tone.tones):
        side = side_of(c, len(tone.tones))
        if not t.present:
            out.append(no_reading("speed_error", side, "this channel holds no tone", frequency_hz=nominal_hz))
            continue
        out.append(
            Reading(
                "speed_error",
                side,
                100.0 * (t.frequency_hz / nominal_hz - 1.0),
                100.0 * t.frequency_uncertainty_hz / nominal_hz,
                frequency_hz=nominal_hz,
                method=METHOD,
                reference=f"{nominal_hz:g} Hz",
            )
        )
    return out
