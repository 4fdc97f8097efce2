"""A reading as the input of a diagnosis: its stage, source and quantity, and its error against the target, if any."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Stage = Literal["before-cleaning", "before-demagnetising", "after-cleaning", "as-left"]
Source = Literal["reference-tape", "record-replay", "tape-stopped", "encoder", "decoder"]
STAGES: tuple[Stage, ...] = ("before-cleaning", "before-demagnetising", "after-cleaning", "as-left")
"""In order of time. "before-demagnetising" is cleaned but not demagnetised; "after-cleaning" is both."""
MAGNETISED: tuple[Stage, ...] = STAGES[:2]
"""The stages before demagnetising."""
SOURCES: tuple[Source, ...] = ("reference-tape", "record-replay", "tape-stopped", "encoder", "decoder")


@dataclass(frozen=True, slots=True)
class Finding:
    """One reading, or a missing one."""

    id: str
    stage: Stage
    source: Source
    quantity: str
    """As in `bench.measure.catalogue`."""
    channel: str
    value: float | None
    """Error against the target for levels, responses, delays and speed; else the value itself. None: no reading."""
    unit: str
    uncertainty: float = 0.0
    """Expanded (k = 2), same unit."""
    frequency_hz: float | None = None
    reference_hz: float | None = None
    """Frequency to which a response is relative."""
    sent_db: float | None = None
    """Level of the tone, dB relative to the reference level."""
    method: str = ""
    part: str = ""
    """The rotating part to which a flutter component was attributed, if the sheet names it."""
    driven: str = ""
    """The driven channel of a separation."""
    at_least: bool = False
    """Whether the value is a lower limit, because noise masks the rest."""
    buried: bool = False
    """Whether there is no reading because noise buries the tone in this channel."""
    from_target: bool = False
    """Whether the value is a departure from a target other than 0."""
    out: bool | None = None
    """Whether it is out of tolerance; None if no tolerance was given."""
