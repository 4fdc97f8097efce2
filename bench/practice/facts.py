"""What the practice machine has to know, as plain facts: the sheets without their file format."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from bench.tape.fluxivity import Fluxivity

Table = Mapping[str, float | str | bool]
"""A `[practice]` table of a sheet."""


@dataclass(frozen=True, slots=True)
class MachineFacts:
    """The recorder that the practice machine stands in for."""

    name: str
    heads: int
    """2 or 3."""
    speed_mm_s: float
    track_spacing_mm: float
    equalisation_us: tuple[float, float]
    """(t1, t2)."""
    fluxivity: Fluxivity
    """The machine's reference level."""
    replay_dbfs: float
    """What it gives out when that is replayed."""
    send_dbfs: float
    """What is sent to it for that to be recorded."""
    noise_reduction: Literal["none", "type-b", "type-a"] = "none"
    """What its switch puts in."""
    practice: Table = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class TapeFacts:
    """The work tape."""

    name: str
    iec_type: str
    practice: Table = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SectionFacts:
    """A section of the reference tape."""

    id: str
    purpose: str
    hz: float
    db: float
    seconds: float
    recorded_error_db: float = 0.0


@dataclass(frozen=True, slots=True)
class ReferenceFacts:
    """The reference tape."""

    name: str
    speed_mm_s: float
    fluxivity: Fluxivity
    equalisation_us: tuple[float, float]
    sections: tuple[SectionFacts, ...]

    @property
    def level_hz(self) -> float:
        """The frequency at which its fluxivity holds: that of its first level section, or of its first section."""
        return next((s.hz for s in self.sections if s.purpose == "level"), self.sections[0].hz)


@dataclass(frozen=True, slots=True)
class FaultFacts:
    """A physical change of the machine."""

    name: str
    changes: Table
    """Keys of the machine's `[practice]` table, and the values they take."""
    mended_by: tuple[str, ...] = ()
    """`clean`, `demagnetise`: what takes it away."""
