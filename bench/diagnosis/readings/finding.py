"""A reading as the diagnosis takes it: where, when and of what, with its error against the target where it has one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Stage = Literal["before-cleaning", "before-demagnetising", "after-cleaning", "as-left"]
Source = Literal["reference-tape", "record-replay", "tape-stopped", "encoder", "decoder"]
STAGES: tuple[Stage, ...] = ("before-cleaning", "before-demagnetising", "after-cleaning", "as-left")
"""In their order. "before-demagnetising" is cleaned and not yet demagnetised; "after-cleaning" is both."""
MAGNETISED: tuple[Stage, ...] = STAGES[:2]
"""Those at which nothing was demagnetised."""
SOURCES: tuple[Source, ...] = ("reference-tape", "record-replay", "tape-stopped", "encoder", "decoder")


@dataclass(frozen=True, slots=True)
class Finding:
    """One reading, or the lack of one."""

    id: str
    stage: Stage
    source: Source
    quantity: str
    """As in `bench.measure.catalogue`."""
    channel: str
    value: float | None
    """Error against the target for levels, responses, delays and speed; else the figure itself. None: no reading."""
    unit: str
    uncertainty: float = 0.0
    """Expanded (k = 2), same unit."""
    frequency_hz: float | None = None
    reference_hz: float | None = None
    """What a response is relative to."""
    sent_db: float | None = None
    """Level of the tone, dB re the reference level."""
    method: str = ""
    part: str = ""
    """The rotating part that a flutter component was put down to, where the sheet named it."""
    driven: str = ""
    """The driven channel of a separation."""
    at_least: bool = False
    """Whether the value is a lower limit: noise masked anything more."""
    out: bool | None = None
    """Whether it is beyond its tolerance; None where no tolerance was given."""
