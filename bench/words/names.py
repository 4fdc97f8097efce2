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
_STAGES_OF_A_CHECK: dict[Stage, str] = STAGES | {"left": "as measured"}
CHANNELS: dict[Channel, str] = {
    "left": "left",
    "right": "right",
    "mono": "one channel",
    "both": "both",
    "left-right": "left to right",
}
SIGNS: dict[VerdictWord, str] = {"in": "✓", "out": "✗", "too close to call": "~", "no reading": "–"}
"""A sign for each verdict, so that colour is never alone."""


def stages_of(*, adjusted: bool) -> dict[Stage, str]:
    """What the stages of a session are called: where nothing was adjusted, nothing was left by an adjustment."""
    return STAGES if adjusted else _STAGES_OF_A_CHECK


def short_stage(name: str) -> str:
    """The name of a stage where "as found" stands beside it anyhow: "before cleaning", "as left"."""
    return name.removeprefix("as found, ")


def unit_in_words(quantity: str) -> str:
    """The unit of a quantity as a column heads it."""
    unit = QUANTITIES[quantity].unit
    return UNITS[unit].heading or unit
