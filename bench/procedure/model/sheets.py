"""The models of sheets: facts about a machine, tape, reference tape, interface or fault, one TOML file each."""

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
    "record level control left",
    "record level control right",
)
"""The trimmers and record level controls of most recorders, by their usual names."""


USUAL_TARGETS: dict[str, Target] = {
    "record_level_control": Target(value=0.0, unit="dB", tolerance=0.5, source="common practice, no source"),
    "compression": Target(at_least=-1.0, unit="dB", source="common practice, no source"),
    "second_harmonic": Target(at_most=1.0, unit="%", source="common practice, no source"),
    "other_side": Target(at_least=60.0, unit="dB", source="DIN 45500 part 4 as quoted in print: 60 dB at 1 kHz"),
}
"""Targets of any machine whose sheet does not set them."""


TrackFormatName = Literal["cassette mono", "cassette stereo", "full-track", "two-track", "stereo", "quarter-track"]
"""The last four are for quarter-inch tape."""


class SheetBase(Strict):
    """Keys of every sheet."""

    format: Literal[1]
    sheet: str
    name: Text
    notes: OptionalText = ""


class ReferenceLevel(Strict):
    """Reference level of the machine: its flux, and the levels at the interface."""

    fluxivity_nwb_m: float = Field(gt=0)
    fluxivity_method: FluxMethod
    replay_dbfs: float
    """Level that the interface should read when a tape of this fluxivity is replayed."""
    send_dbfs: float
    """Level sent for a tone of 0 dB, which the machine should record at this fluxivity."""

    @property
    def fluxivity(self) -> Fluxivity:
        """The flux with its method."""
        return Fluxivity(self.fluxivity_nwb_m, self.fluxivity_method)


class Part(Strict):
    """A rotating part, so that its flutter can be recognised. Give either `diameter_mm` or `hz`."""

    name: Text
    diameter_mm: float | None = Field(default=None, gt=0)
    """Diameter, for a part that the tape drives or that drives the tape."""
    hz: float | None = Field(default=None, gt=0)
    """Rotations per second, for any other part."""


class OutputTestPoint(Strict):
    """Where the manual measures replay level, other than at the output."""

    where: Text
    mv: float = Field(gt=0)
    """Voltage there at the reference level of the machine."""
    attenuator_db: float = Field(default=0.0, ge=0)
    """Attenuator between the test point and the interface; a test point carries DC, sometimes tens of volts."""
    source: Text


class NoiseReductionTestPoint(Strict):
    """Where the manual measures the level at a noise-reduction circuit."""

    where: Text
    mv: float = Field(gt=0)
    """Voltage there at the reference level of the noise reduction."""
    source: Text


class CurrentTestPoint(Strict):
    """Where the manual measures a current, as the voltage across a resistor."""

    where: Text
    mv: float = Field(gt=0)
    tolerance_percent: float = Field(default=10.0, gt=0)
    source: Text


class Meters(Strict):
    """The meters of the machine."""

    kind: Literal["VU", "PPM", "peak"]
    zero_db: float = 0.0
    """The level that they show as 0, relative to the reference level of the machine."""
    noise_reduction_mark_db: float | None = None
    """Level of the noise-reduction mark, relative to the reference level of the machine."""
    source: Text


class Setting(Strict):
    """A setting of the machine's switches: for a type of tape, a speed or an equalisation."""

    name: str = Field(pattern=r"^[a-z0-9][a-z0-9-]*$")
    """As its switch is marked: "chrome"."""
    tape_type: tuple[IecType, ...] = Field(min_length=1)
    """The types of tape for which it is used."""
    speed_mm_s: float | None = Field(default=None, gt=0)
    """Tape speed, where it differs from that of the sheet."""
    equalisation_us: tuple[float, float] | None = None
    """t1 and t2 in µs, where they differ from those of the sheet."""
    targets: dict[str, Target] = Field(default_factory=dict)
    """Targets that are added to those of the sheet, or replace them."""
    practice: dict[str, float | str | bool] = Field(default_factory=dict)
    """Parameters of the practice machine that are added to those of the sheet, or replace them."""
    own_trimmers: tuple[str, ...] = ()
    """Trimmers that serve this setting alone: "bias left". All others are shared with the other settings."""


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
    """Its trimmers; a machine with two heads has no separate record azimuth."""
    track_format: TrackFormatName | None = None
    """Track format of its heads."""
    auto_reverse: bool = False
    noise_reduction: tuple[Literal["type-b", "type-a"], ...] = ()
    """The systems that it has; the first is lined up."""
    parts: tuple[Part, ...] = ()
    output_test_point: OutputTestPoint | None = None
    encoder_test_point: NoiseReductionTestPoint | None = None
    decoder_test_point: NoiseReductionTestPoint | None = None
    erase_test_point: CurrentTestPoint | None = None
    bias_test_point: CurrentTestPoint | None = None
    """For each channel, at the bias of the tape that the machine was designed for."""
    line_input_mv: float | None = Field(default=None, gt=0)
    """Sensitivity of the line input: voltage that records the reference level with the record level control full up."""
    output_control: Literal["mark", "fixed"] | None = None
    """Whether the output has a control, to be set to its mark, or a fixed level."""
    meters: Meters | None = None
    setting: tuple[Setting, ...] = ()
    """Its settings, where one sheet serves several types of tape, speeds or equalisations."""
    practice: dict[str, float | str | bool] = Field(default_factory=dict)
    """Parameters of the practice machine for this sheet: `grade`, how rough it is (studio, good, average, poor, none);
    `tape_wear` (fresh, usual or worn); and single figures, which take precedence over those of the grade."""

    @property
    def all_targets(self) -> dict[str, Target]:
        """Its targets, and those of `USUAL_TARGETS` that it does not set."""
        return USUAL_TARGETS | self.targets

    def at(self, setting: Setting) -> Machine:
        """The machine at one of its settings. The setting's own trimmers are listed under both of their names."""
        changes = {
            "setting": (setting,),
            "speed_mm_s": setting.speed_mm_s or self.speed_mm_s,
            "equalisation_us": setting.equalisation_us or self.equalisation_us,
            "targets": self.targets | setting.targets,
            "practice": self.practice | setting.practice,
            "trimmers": (*self.trimmers, *(f"{name} {setting.name}" for name in setting.own_trimmers)),
        }
        return self.model_copy(update=changes)

    def trimmer(self, usual: str) -> str:
        """The trimmer with a usual name, for a machine at one setting: "bias left" is "bias left chrome"."""
        return next((f"{usual} {s.name}" for s in self.setting if usual in s.own_trimmers), usual)

    def turning(self) -> tuple[tuple[str, float], ...]:
        """Name and rotations per second of each part in the sheet."""
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

    @property
    def tape_format(self) -> Literal["cassette", "open reel"]:
        """Its format."""
        return "open reel" if self.iec_type == "open reel" else "cassette"


class Section(Strict):
    """A section of a reference tape."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]*$")
    purpose: Purpose
    hz: float = Field(gt=0)
    db: float
    """Nominal level relative to the fluxivity of the tape; for a response section, after its equalisation."""
    seconds: float = Field(gt=0, le=7200)
    recorded_error_db: float = 0.0
    """Actual minus nominal, from the certificate; added to the target."""
    uncertainty_db: float | None = Field(default=None, gt=0)
    """Expanded uncertainty (k = 2) of this tone, where it differs from that of the tape."""
    fluxivity_nwb_m: float | None = Field(default=None, gt=0)
    """Flux of 0 dB, where it differs from that of the tape."""
    fluxivity_method: FluxMethod | None = None
    """Measuring method of that flux."""
    tape: OptionalText = ""
    """In a set: name of the tape with this section."""


class ReferenceTape(SheetBase):
    """A reference tape."""

    sheet: Literal["reference-tape"]
    speed_mm_s: float = Field(gt=0)
    fluxivity_nwb_m: float = Field(gt=0)
    fluxivity_method: FluxMethod
    equalisation_us: tuple[float, float]
    uncertainty_db: float = Field(gt=0)
    """Expanded uncertainty (k = 2) of the levels, from the certificate."""
    speed_uncertainty_percent: float = Field(gt=0)
    azimuth_uncertainty_arcmin: float = Field(gt=0)
    serial: OptionalText = ""
    """Serial number of this copy."""
    certificate: OptionalText = ""
    """Name or number of its certificate."""
    certificate_date: Date | None = None
    """Date of the certificate."""
    track_format: TrackFormatName | None = None
    """A full-track tape reads high at long wavelengths on a narrower head."""
    section: tuple[Section, ...] = Field(min_length=1)

    def flux_of(self, section: Section) -> Fluxivity:
        """Flux of 0 dB of a section, with its method."""
        return Fluxivity(
            section.fluxivity_nwb_m or self.fluxivity_nwb_m, section.fluxivity_method or self.fluxivity_method
        )

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the tapes of a set; empty for a single tape."""
        return tuple(dict.fromkeys(s.tape for s in self.section if s.tape))


class ReferenceSet(SheetBase):
    """Several reference tapes that serve one job together: one for level, one for azimuth, one for speed."""

    sheet: Literal["reference-set"]
    tapes: tuple[str, ...] = Field(min_length=2)
    """File names of their sheets without `.toml`, in the order in which they are played."""


class PositiveFigure(Strict):
    """A positive figure with its uncertainty."""

    value: float = Field(gt=0)
    uncertainty: float = Field(gt=0)
    """Expanded (k = 2), same unit."""


class SignedFigure(Strict):
    """A figure that may be negative, with its uncertainty."""

    value: float
    uncertainty: float = Field(gt=0)
    """Expanded (k = 2), same unit."""


class ResponsePoint(Strict):
    """Response of the interface to a tone, output looped to input."""

    hz: float = Field(gt=0)
    db: float
    """Returned minus sent, relative to the reference frequency."""
    channel: Literal["left", "right", "both"] = "both"
    uncertainty_db: float = Field(default=0.0, ge=0)


class LinearityPoint(Strict):
    """Error of the interface at one level, output looped to input."""

    sent_dbfs: float = Field(le=0)
    db: float
    """Returned minus sent, relative to the loudest point."""
    channel: Literal["left", "right", "both"] = "both"
    uncertainty_db: float = Field(default=0.0, ge=0)


class Interface(SheetBase):
    """The interface between machine and program, as measured on one day; written by `calibrate-interface`."""

    sheet: Literal["interface"]
    device: Text
    """Its name in the sound system; sessions on another device are not corrected with this sheet."""
    date: Date
    """When it was measured."""
    sample_rate: int | None = Field(default=None, gt=0)
    full_scale_output_v: PositiveFigure | None = None
    """Volts rms of a full-scale sine at the output (dBFS as in AES17)."""
    full_scale_input_v: PositiveFigure | None = None
    """Volts rms of a sine that the input reads as full scale."""
    response: tuple[ResponsePoint, ...] = ()
    noise_dbfs: float | None = None
    """Noise of the loop with nothing sent, A-weighted rms."""
    distortion_percent: float | None = Field(default=None, ge=0)
    """Third harmonic of the loop."""
    channel_order: Literal["straight", "swapped"] | None = None
    linearity: tuple[LinearityPoint, ...] = ()
    """Unequal errors show an automatic gain or an "enhancement" in the input."""
    clock_error_ppm: SignedFigure | None = None
    """Error of its sample clock against a counter, positive for fast."""


class Fault(SheetBase):
    """A fault for the practice machine: a physical change."""

    sheet: Literal["fault"]
    tells: Text
    """How the fault shows."""
    practice: dict[str, float | str | bool]
    """Changed parameters of the practice machine."""
    mended_by: tuple[Literal["clean", "demagnetise"], ...] = ()


class Exercise(SheetBase):
    """An exercise: a job on a practice machine with something hidden in it. Apart from that, it is in order."""

    sheet: Literal["exercise"]
    procedure: Text
    """File name of the procedure without `.toml`."""
    machine: str | None = None
    """File name of the machine sheet without `.toml`; without one, that of the procedure."""
    tape: str | None = None
    """File name of the tape sheet, by the same rule."""
    reference_tape: str | None = None
    """File name of the reference-tape sheet, by the same rule."""
    seed: int = Field(default=1, ge=0)
    """Number of the machine: the same number gives a whole class the same machine."""
    complaint: OptionalText = ""
    """What the owner says, shown before the first step."""
    faults: tuple[Text, ...] = ()
    """File names, without `.toml`, of fault sheets that are always hidden."""
    draws: int = Field(default=0, ge=0, le=10)
    """Number of further faults that the seed draws."""
    dirty: bool = False
    """Whether the heads are as dirty as the machine sheet says; otherwise they are clean."""
    out_of_adjustment: bool = False
    """Whether the trimmers are out of adjustment; otherwise they are within their tolerances."""
    must_find: tuple[Text, ...] = ()
    """The faults that must be named; by default, everything that is hidden."""
