"""Names of channels, stages and verdicts; those of quantities are in `bench.measure.catalogue`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.measure.catalogue import QUANTITIES, UNITS

if TYPE_CHECKING:
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
"""A sign for each verdict, so that colour is never the only cue."""


def stages_of(*, adjusted: bool) -> dict[Stage, str]:
    """Names of the stages of a session; where nothing was adjusted, the last is not called "as left"."""
    return STAGES if adjusted else _STAGES_OF_A_CHECK


def short_stage(name: str) -> str:
    """The name of a stage next to which "as found" is already written: "before cleaning", "as left"."""
    return name.removeprefix("as found, ")


def unit_in_words(quantity: str) -> str:
    """The unit of a quantity, for the head of a column."""
    unit = QUANTITIES[quantity].unit
    return UNITS[unit].heading or unit
