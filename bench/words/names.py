"""What quantities, channels, stages and verdicts are called."""

from __future__ import annotations

from bench.measure.reading import UNITS, Channel
from bench.measure.stage import Stage
from bench.measure.verdict import VerdictWord

QUANTITIES: dict[str, str] = {
    "level": "Level",
    "balance": "Balance",
    "response": "Response",
    "azimuth_delay": "Azimuth, delay",
    "azimuth_angle": "Azimuth, angle",
    "azimuth_phase": "Azimuth, phase",
    "azimuth_weave": "Azimuth weave",
    "speed_error": "Speed error",
    "speed_drift": "Speed drift",
    "wow_and_flutter": "Wow and flutter",
    "flutter_component": "Flutter component",
    "noise": "Noise",
    "signal_to_noise": "Signal to noise",
    "hum": "Hum",
    "third_harmonic": "Third harmonic",
    "second_harmonic": "Second harmonic",
    "thd": "Harmonic distortion",
    "maximum_output_level": "Maximum output level",
    "saturated_output_level": "Saturated output level",
    "separation": "Separation",
    "erasure": "Erasure",
    "mono_sum": "Mono sum",
    "dropout_count": "Dropouts",
    "dropout_rate": "Dropout rate",
    "dropout_depth": "Dropout depth",
    "dropout_length": "Dropout length",
    "record_replay_level": "Record-to-replay level",
    "overbias": "Past the peak of bias",
    "mistracking": "Mistracking",
    "encoding_error": "Encoding error",
    "decoding_error": "Decoding error",
    "linearity": "Linearity",
    "full_scale_output": "Full scale, output",
    "full_scale_input": "Full scale, input",
    "clock_error": "Clock error",
}
STAGES: dict[Stage, str] = {
    "found-dirty": "as found, before cleaning",
    "found-clean": "as found, after cleaning",
    "left": "as left",
}
CHANNELS: dict[Channel, str] = {
    "left": "left",
    "right": "right",
    "mono": "one channel",
    "both": "both",
    "left-right": "left to right",
}
SIGNS: dict[VerdictWord, str] = {"in": "●", "out": "▲", "too close to call": "◆", "no reading": "○"}
"""A shape for each verdict, so that colour is never alone."""


def unit_in_words(quantity: str) -> str:
    """The unit of a quantity as a column heads it."""
    unit = UNITS[quantity]
    return "count" if unit == "1" else unit
