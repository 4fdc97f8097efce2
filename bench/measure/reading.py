"""What a reading is, and the names of quantities, units and methods. Imports nothing heavy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

Channel = Literal["left", "right", "mono", "both", "left-right"]

UNITS: dict[str, str] = {
    "level": "dBFS",
    "balance": "dB",
    "response": "dB",
    "azimuth_delay": "µs",
    "azimuth_angle": "arcmin",
    "azimuth_phase": "degrees",
    "azimuth_weave": "µs",
    "speed_error": "%",
    "speed_drift": "%",
    "wow_and_flutter": "%",
    "flutter_component": "%",
    "noise": "dBFS",
    "signal_to_noise": "dB",
    "hum": "dBFS",
    "third_harmonic": "%",
    "second_harmonic": "%",
    "thd": "%",
    "maximum_output_level": "dB",
    "saturated_output_level": "dB",
    "separation": "dB",
    "erasure": "dB",
    "mono_sum": "dB",
    "dropout_count": "1",
    "dropout_rate": "per minute",
    "dropout_depth": "dB",
    "dropout_length": "ms",
    # Made of readings by a procedure rather than by `measure`:
    "record_replay_level": "dB",
    "overbias": "dB",
    "mistracking": "dB",
    "encoding_error": "dB",
    "decoding_error": "dB",
    # Of the interface itself, its output looped to its input:
    "linearity": "dB",
    "full_scale_output": "V",
    "full_scale_input": "V",
    "clock_error": "ppm",
}
"""The unit of each quantity a reading can hold."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One measured quantity, or the reason why there is none."""

    quantity: str
    """A key of `UNITS`."""
    channel: Channel
    """`mono` is a one-channel capture, `both` what holds for the whole, `left-right` a difference."""
    value: float | None
    """In `unit`; None when there is no reading, and then `reason` says why."""
    uncertainty: float | None = None
    """Expanded (k = 2), same unit; None where there is no value or it is an exact count."""
    frequency_hz: float | None = None
    """The nominal frequency asked for; the measured one for components and unasked tones."""
    method: str = ""
    """How it was measured, in words a report can print."""
    reason: str | None = None
    """Why there is no value: the rest of the sentence "no reading, because …"."""
    bound: Literal["at least", "at most"] | None = None
    """Set when the value is the most that can be claimed."""
    reference: str = ""
    """What the value is relative to, in words ("full-scale sine", "1000 Hz")."""
    time_s: float | None = None
    """Where in the capture an event lies, for quantities that are events."""

    @property
    def unit(self) -> str:
        """The unit of `value`."""
        return UNITS[self.quantity]

    def as_json(self) -> dict[str, Any]:
        """The reading as the `measure --json` contract has it."""
        out: dict[str, Any] = {
            "quantity": self.quantity,
            "channel": self.channel,
            "value": self.value,
            "unit": self.unit,
            "uncertainty": self.uncertainty,
            "frequency_hz": self.frequency_hz,
            "method": self.method,
        }
        for key in ("reason", "bound", "reference", "time_s"):
            value = getattr(self, key)
            if value not in (None, ""):
                out[key] = value
        return out


@dataclass(frozen=True, slots=True)
class Measured:
    """What a quantity's function gives: readings, and what else must be said."""

    readings: tuple[Reading, ...]
    warnings: tuple[str, ...] = ()
    """One sentence each."""


INVERTED = "inverted polarity taken out"
"""What the method of an azimuth reading says where one channel is the wrong way round."""
SEVERAL = "whole periods told by all of them"
"""And where several tones tell it together."""


def no_reading(quantity: str, channel: Channel, because: str, **more: Any) -> Reading:
    """A reading without a value. `because` completes "no reading, because …"."""
    return Reading(quantity, channel, None, reason=because, **more)
