"""What channels, stages and verdicts are called; quantities are named in `bench.measure.catalogue`."""

from __future__ import annotations

from bench.measure.catalogue import QUANTITIES, UNITS
from bench.measure.reading import Channel
from bench.measure.stage import Stage
from bench.measure.verdict import VerdictWord

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
    unit = QUANTITIES[quantity].unit
    return UNITS[unit].heading or unit
