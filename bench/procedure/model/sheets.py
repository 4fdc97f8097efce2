"""The models of sheets: facts about a machine, a tape, a reference tape, an interface or a fault, a TOML file each."""

from __future__ import annotations

import math
from datetime import date as Date  # noqa: N812 - `date` is the key of the sheet
from typing import Literal

from pydantic import Field

from bench.procedure.model.steps import IecType, OptionalText, Purpose, Strict, Text
from bench.procedure.model.targets import Target
from bench.tape.fluxivity import Fluxivity, FluxMethod

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
    name: Text
    notes: OptionalText = ""


class ReferenceLevel(Strict):
    """The machine's reference level: the flux, and what the interface sees of it."""

    fluxivity_nwb_m: float = Field(gt=0)
    fluxivity_method: FluxMethod
    replay_dbfs: float
    """What the interface should read when a tape of that fluxivity is replayed."""
    send_dbfs: float
    """What is sent for a tone of 0 dB, which should then be recorded at that fluxivity."""

    @property
    def fluxivity(self) -> Fluxivity:
        """The flux with its method."""
        return Fluxivity(self.fluxivity_nwb_m, self.fluxivity_method)


class Part(Strict):
    """A part that turns, so that a flutter component can be told to be its. One of the two figures."""

    name: Text
    diameter_mm: float | None = Field(default=None, gt=0)
    """The tape runs over it at its speed; or"""
    hz: float | None = Field(default=None, gt=0)
    """how often it turns in a second."""


class OutputTestPoint(Strict):
    """Where the manual has replay level taken, other than at the output."""

    where: Text
    mv: float = Field(gt=0)
    """What stands there at the machine's reference level."""
    attenuator_db: float = Field(default=0.0, ge=0)
    """Between it and the interface; a test point carries DC and can carry tens of volts."""
    source: Text


class Meters(Strict):
    """What the machine's own meters show."""

    kind: Literal["VU", "PPM", "peak"]
    zero_db: float = 0.0
    """The level that they show as 0, re the machine's reference level."""
    noise_reduction_mark_db: float | None = None
    """Likewise the level of the noise-reduction mark."""
    source: Text


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
    auto_reverse: bool = False
    noise_reduction: tuple[Literal["type-b", "type-a"], ...] = ()
    """What its switch can put in, the one that is lined up first."""
    parts: tuple[Part, ...] = ()
    output_test_point: OutputTestPoint | None = None
    meters: Meters | None = None
    practice: dict[str, float | str | bool] = Field(default_factory=dict)
    """Parameters of the practice machine that stands in for this one."""

    def turning(self) -> tuple[tuple[str, float], ...]:
        """How often each of its parts turns in a second, where the sheet says so."""
        from bench.tape.geometry import rotation_rate_hz

        rates = [
            (part.name, part.hz or rotation_rate_hz(part.diameter_mm or math.inf, self.speed_mm_s))
            for part in self.parts
        ]
        return tuple((name, hz) for name, hz in rates if hz > 0.0)


class Tape(SheetBase):
    """A tape to record on."""

    sheet: Literal["tape"]
    iec_type: IecType
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


class PositiveFigure(Strict):
    """A figure with its uncertainty."""

    value: float = Field(gt=0)
    uncertainty: float = Field(gt=0)
    """Expanded (k = 2), same unit."""


class SignedFigure(Strict):
    """A figure that may be negative, with its uncertainty."""

    value: float
    uncertainty: float = Field(gt=0)
    """Expanded (k = 2), same unit."""


class ResponsePoint(Strict):
    """What the interface does to a tone, output looped to input."""

    hz: float = Field(gt=0)
    db: float
    """What comes back less what was sent, re the reference frequency."""
    channel: Literal["left", "right", "both"] = "both"
    uncertainty_db: float = Field(default=0.0, ge=0)


class LinearityPoint(Strict):
    """What comes back of a level that was sent, output looped to input."""

    sent_dbfs: float = Field(le=0)
    db: float
    """What comes back less what was sent, re the loudest point."""
    channel: Literal["left", "right", "both"] = "both"
    uncertainty_db: float = Field(default=0.0, ge=0)


class Interface(SheetBase):
    """What stands between the machine and the program, as measured on a day; written by `calibrate-interface`."""

    sheet: Literal["interface"]
    device: Text
    """Its name, as the sound system has it: a session on another device is not corrected by this sheet."""
    date: Date
    """When it was measured."""
    sample_rate: int | None = Field(default=None, gt=0)
    full_scale_output_v: PositiveFigure | None = None
    """Rms volts of a full-scale sine at the output (dBFS as in AES17)."""
    full_scale_input_v: PositiveFigure | None = None
    """Rms volts of a sine that the input reads as full scale."""
    response: tuple[ResponsePoint, ...] = ()
    noise_dbfs: float | None = None
    """Of the loop with nothing sent, A-weighted rms."""
    distortion_percent: float | None = Field(default=None, ge=0)
    """Of the loop, third harmonic."""
    channel_order: Literal["straight", "swapped"] | None = None
    linearity: tuple[LinearityPoint, ...] = ()
    """Steps that are not alike tell an automatic gain or an "enhancement" in the way."""
    clock_error_ppm: SignedFigure | None = None
    """Of its sample clock, positive when it runs fast, against a counter."""


class Fault(SheetBase):
    """A fault for the practice machine: a physical change."""

    sheet: Literal["fault"]
    tells: Text
    """How it shows."""
    practice: dict[str, float | str | bool]
    """What changes in the practice machine."""
    mended_by: tuple[Literal["clean", "demagnetise"], ...] = ()
