"""The models of sheets: facts about a machine, a tape, a reference tape or a fault, one TOML file each."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from bench.procedure.steps import Purpose, Said, Strict, Words
from bench.procedure.targets import Target

FluxMethod = Literal["DIN", "ANSI"]
"""How a fluxivity was measured: the two differ by some 0.7 dB and are never mixed in silence."""


TRIMMERS = (
    "speed",
    "replay azimuth",
    "replay level left",
    "replay level right",
    "replay equalisation left",
    "replay equalisation right",
    "record azimuth",
    "bias left",
    "bias right",
    "record level left",
    "record level right",
    "record equalisation left",
    "record equalisation right",
)
"""What most recorders let a person set, named as the trade does."""


class SheetBase(Strict):
    """What every sheet has."""

    format: Literal[1]
    sheet: str
    name: Said
    notes: Words = ""


class ReferenceLevel(Strict):
    """The machine's reference level: the flux, and what the interface sees of it."""

    fluxivity_nwb_m: float = Field(gt=0)
    fluxivity_method: FluxMethod
    replay_dbfs: float
    """What the interface should read when a tape of that fluxivity is replayed."""
    send_dbfs: float
    """What is sent for a tone of 0 dB, which should then be recorded at that fluxivity."""


class Machine(SheetBase):
    """A recorder."""

    sheet: Literal["machine"]
    heads: Literal[2, 3]
    speed_mm_s: float = Field(gt=0)
    track_spacing_mm: float = Field(gt=0)
    """Between the centres of the two tracks."""
    equalisation_us: tuple[float, float]
    """t1 and t2 in µs (t2 = 0 for none)."""
    reference: ReferenceLevel
    targets: dict[str, Target]
    trimmers: tuple[str, ...] = TRIMMERS
    """What can be set on it; two heads have no record azimuth of their own."""
    practice: dict[str, float | str | bool] = Field(default_factory=dict)
    """Parameters of the practice machine that stands in for this one."""


class Tape(SheetBase):
    """A tape to record on."""

    sheet: Literal["tape"]
    iec_type: Literal["I", "II", "IV", "open reel"]
    targets: dict[str, Target] = Field(default_factory=dict)
    practice: dict[str, float | str | bool] = Field(default_factory=dict)


class Section(Strict):
    """A section of a reference tape."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]*$")
    purpose: Purpose
    hz: float = Field(gt=0)
    db: float
    """Nominal level relative to the tape's fluxivity; in a response section after the tape's equalisation."""
    seconds: float = Field(gt=0)
    recorded_error_db: float = 0.0
    """Actual minus nominal, from the certificate; added to the target."""


class ReferenceTape(SheetBase):
    """A reference (calibration) tape."""

    sheet: Literal["reference-tape"]
    speed_mm_s: float = Field(gt=0)
    fluxivity_nwb_m: float = Field(gt=0)
    fluxivity_method: FluxMethod
    equalisation_us: tuple[float, float]
    uncertainty_db: float = Field(gt=0)
    """Expanded (k = 2), of the levels, from the certificate."""
    speed_uncertainty_percent: float = Field(gt=0)
    azimuth_uncertainty_arcmin: float = Field(gt=0)
    section: tuple[Section, ...] = Field(min_length=1)


class Fault(SheetBase):
    """A fault for the practice machine: a physical change."""

    sheet: Literal["fault"]
    tells: Said
    """How it shows."""
    practice: dict[str, float | str | bool]
    """What changes in the practice machine."""
    mended_by: tuple[Literal["clean", "demagnetise"], ...] = ()
