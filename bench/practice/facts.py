"""The facts from the sheets that the practice machine needs, independent of the file format."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from bench.tape.fluxivity import Fluxivity

Table = Mapping[str, float | str | bool]
"""A `[practice]` table of a sheet."""

LoadedTape = Literal["none", "reference", "work", "owners"]
"""The tape on the machine; `work` is a tape that may be recorded on."""


@dataclass(frozen=True, slots=True)
class TrimmerPosition:
    """The visible position of a trimmer, degrees from its middle."""

    name: str
    """As in the machine's sheet: "replay level left"."""
    degrees: float
    low: float = -150.0
    high: float = 150.0
    """Its end stops."""


@dataclass(frozen=True, slots=True)
class MachineFacts:
    """The recorder that the practice machine simulates."""

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
    """Its output when the reference level is replayed."""
    send_dbfs: float
    """The input that records the reference level."""
    noise_reduction: Literal["none", "type-b", "type-a"] = "none"
    """The system that its switch selects."""
    encoder_mv: float = 0.0
    """Voltage at the encoder's test point at the reference level of the noise reduction; 0 for none."""
    decoder_mv: float = 0.0
    erase_mv: float = 0.0
    bias_mv: float = 0.0
    """Voltages at the test points of erase and bias current if both are correct."""
    meter_zero_db: float = 0.0
    """Level that the meters show as 0, re the reference level."""
    practice: Table = field(default_factory=dict)
    setting: str = ""
    """The setting of its switches to which these facts apply."""
    own_trimmers: tuple[str, ...] = ()
    """Trimmers, by their usual names, that only this setting has."""


@dataclass(frozen=True, slots=True)
class TapeFacts:
    """A tape that may be recorded on."""

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
        """The frequency at which its fluxivity is stated: that of the first level section, or of the first section."""
        return next((s.hz for s in self.sections if s.purpose == "level"), self.sections[0].hz)


@dataclass(frozen=True, slots=True)
class FaultFacts:
    """A physical change in the machine."""

    name: str
    changes: Table
    """Keys of the machine's `[practice]` table and their new values."""
    mended_by: tuple[str, ...] = ()
    """Remedies that remove it: `clean`, `demagnetise`."""
