"""The models of a procedure file: one class for each kind of step. Imports neither scipy nor numba."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from bench.audio.port import Act
from bench.measure.catalogue import QUANTITIES
from bench.procedure.model.step_base import (
    ASPECTS,
    HIGHEST_HZ,
    ID,
    LONGEST_S,
    AgainUntil,
    AnyStep,
    AppliesTo,
    Aspect,
    Caution,
    Direction,
    Hazard,
    IecType,
    Measuring,
    NoiseReduction,
    OptionalText,
    Part,
    SentTone,
    StepBase,
    StepId,
    Strict,
    Text,
)
from bench.procedure.model.targets import TargetName

__all__ = [
    "ASPECTS",
    "Adjust",
    "AgainUntil",
    "AnyStep",
    "AppliesTo",
    "Aspect",
    "ByHand",
    "Caution",
    "ChannelName",
    "Choice",
    "Decision",
    "Direction",
    "Entry",
    "Follow",
    "Hazard",
    "IecType",
    "InterfaceStep",
    "Judged",
    "LoopTone",
    "Measurable",
    "Measure",
    "Measuring",
    "NoiseReduction",
    "OptionalText",
    "Part",
    "Purpose",
    "Question",
    "ReadPoint",
    "RecordReplay",
    "Reference",
    "SentTone",
    "SignOff",
    "Step",
    "StepBase",
    "StepId",
    "Strict",
    "Text",
]

Purpose = Literal["level", "azimuth", "response", "speed"]
ChannelName = Literal["left", "right", "both"]
ReadPoint = Literal[
    "meter left",
    "meter right",
    "encoder left",
    "encoder right",
    "decoder left",
    "decoder right",
    "erase both",
    "bias left",
    "bias right",
]
"""What a person reads at the machine: meters in dB; test points of noise reduction, erase and bias current in mV."""
Judged = Literal["level", "balance", "response", "azimuth_delay", "azimuth_angle", "speed_error"]
"""What a `reference` step can judge, each quantity by its own target."""

if TYPE_CHECKING:
    Measurable = str
else:
    Measurable = Literal[tuple(name for name, quantity in QUANTITIES.items() if quantity.step == "measure")]
"""What a `measure` step can judge, each quantity by its own target."""

CIRCUIT: Mapping[str, NoiseReduction] = {"encoding_error": "record-only", "decoding_error": "replay-only"}
"""Quantities of the noise-reduction circuit, whose tones are recorded, and the switch position for each."""


class ByHand(StepBase):
    """Work at the machine."""

    kind: Literal["by-hand"]
    looks_at: tuple[Part, ...] = ()
    """Parts that the person looks at; the practice machine describes them in words."""
    does: tuple[Act, ...] = ()
    checklist: tuple[Text, ...] = ()
    """Where a caution of the step names mains or a demagnetiser, the step is over only when every line is ticked."""
    checklist_three_heads: tuple[Text, ...] = ()
    """Further lines on a machine with three heads."""
    timer_s: float = Field(default=0.0, ge=0, le=86400)

    @property
    def is_safety(self) -> bool:
        """Whether every line of the checklist must be ticked."""
        return any(caution.hazard in ("mains", "demagnetiser") for caution in self.cautions)


class Reference(Measuring):
    """Play the reference tape: each tone is recognised and measured."""

    kind: Literal["reference"]
    purposes: tuple[Purpose, ...] = ()
    """Purposes of the sections that are wanted; empty for all."""
    targets: dict[Judged, TargetName] = Field(min_length=1)


class Adjust(Measuring):
    """Bring one quantity to its target by a trimmer."""

    kind: Literal["adjust"]
    via: Literal["live", "rounds", "ladder"] | None = None
    """`live`: read while turning. `rounds` (two heads): turn, record, rewind, replay, judge, repeat. `ladder`: record
    numbered positions in one pass, find the best. Default: live from a reference tape, or on three heads."""
    quantity: Literal[
        "level",
        "response",
        "azimuth_delay",
        "speed_error",
        "source_level",
        "record_replay_level",
        "overbias",
        "tape_level",
    ]
    """`source_level`: the level sent, at the output with the monitor on source (two heads: in record or record-pause).
    `overbias`: fall of the tone past its peak as bias is raised, dB."""
    plays: str | None = None
    """Id of the section of the reference tape that is played. Give this, `sends`, `programme` or `named_by`."""
    sends: tuple[SentTone, ...] = ()
    """Tones to record: sent together, and replayed at once (three heads) or afterwards (two heads)."""
    programme: bool = False
    """Music or speech on the owner's tape, for azimuth."""
    named_by: StepId | None = None
    """For `tape_level`, a tone on the owner's tape: the earlier entry with the flux on its label, nWb/m."""
    frequency: float | None = None
    """The tone that is judged, where there are several."""
    reference_frequency: float | None = None
    """For `response`: the tone to which it is relative. From the reference tape it is relative to the reading of the
    level section."""
    target: TargetName
    trimmers: dict[ChannelName, str] = Field(min_length=1)
    """Names of trimmers by channel; `both` for a trimmer of both channels."""
    trimmers_reverse: dict[ChannelName, str] = Field(default_factory=dict)
    """Trimmers for reverse, where `each_direction` needs different ones."""
    positions: int = Field(default=9, ge=3, le=25)
    """Number of positions of a ladder."""
    apart_degrees: float = Field(default=10.0, gt=0)
    """Degrees between two positions of a ladder."""
    at_most: int = Field(default=6, ge=1, le=20)
    """Maximum number of rounds."""


class RecordReplay(Measuring):
    """Send tones for the machine to record, and measure the replay."""

    kind: Literal["record-replay"]
    sends: tuple[SentTone, ...] = Field(min_length=1)
    """Sent one after another."""
    reference_hz: float
    """The response is relative to this tone, which also gives the level."""
    certifies: bool = False
    """The tape becomes a check tape: its readings include the uncertainty of replay by the reference tape."""
    targets: dict[
        Literal["record_replay_level", "compression", "response", "azimuth_delay", "mistracking"], TargetName
    ] = Field(min_length=1)
    """`compression`: the level for the reference level sent, relative to the last reading at a lower level sent."""


class Measure(Measuring):
    """Measure a quantity once, and judge it."""

    kind: Literal["measure"]
    quantity: Measurable
    method: OptionalText = ""
    """Method that is judged: "A-weighted rms". Default: all methods of the quantity."""
    plays: str | None = None
    sends: tuple[SentTone, ...] = ()
    programme: bool = False
    """Music or speech on the owner's tape instead of tones: azimuth, speed from mains hum, fall of the treble."""
    named_by: StepId | None = None
    """Earlier entry that states what was recorded: a pitch in Hz, the flux on a label in nWb/m, the shell's type."""
    known_by: StepId | None = None
    """Earlier entry with the uncertainty of that pitch, %."""
    records: Literal["silence"] | None = None
    """Record silence, for noise."""
    erases: bool = False
    """Record the tones, erase them, and measure what is left."""
    driven: Literal["left", "right"] | None = None
    """Channel to which the tones are sent, for separation."""
    of: tuple[StepId, ...] = ()
    """For `mistracking`: steps that give the level and response, or `tape_level`; default: the latest readings."""
    returns_to: StepId | None = None
    """Earlier step whose reading must be reached again, within the tolerance of the target but not at its value."""
    frequency: float | None = None
    seconds: float = Field(default=5.0, gt=0, le=LONGEST_S)
    target: TargetName | None = None
    """Without one the reading is reported, not judged."""


class LoopTone(Strict):
    """A tone for the interface."""

    hz: float = Field(gt=0, le=HIGHEST_HZ)
    dbfs: float = Field(ge=-200, le=0)
    """A sine whose peaks reach full scale is 0 dBFS (AES17)."""


class InterfaceStep(Measuring):
    """Measure the interface, output looped to input; `calibrate-interface` consists of such steps."""

    kind: Literal["interface"]
    finds: Literal["channels", "full-scale", "response", "noise", "distortion", "linearity", "clock"]
    """`full-scale` and `clock` ask for the reading of a voltmeter or a counter at the output."""
    sends: tuple[LoopTone, ...] = ()
    """Sent one after another; response and linearity are relative to the first."""
    limit: float
    """Limit in dB (channels: at least; response and linearity: plus or minus), V of a full-scale sine (at least), dBFS
    or % (at most), or ppm (plus or minus)."""
    instrument_percent: float = Field(default=1.5, gt=0)
    """Uncertainty (k = 2) of the instrument whose reading is typed."""
    source: Text = "common practice, no source"
    """Where the limit comes from."""


class Entry(StepBase):
    """A number, a choice or words from the person."""

    kind: Literal["entry"]
    looks_at: tuple[Part, ...] = ()
    """Parts that the person looks at; the practice machine describes them in words."""
    asks: Literal["number", "choice", "words", "complaint", "noise-reduction"]
    """`complaint`: the fault in the owner's words; `noise-reduction`: which of the `choices` the owner switches in."""
    unit: str = ""
    choices: tuple[Text, ...] = ()
    not_good: tuple[Text, ...] = ()
    """The unsatisfactory choices, which the first part of the report names."""
    cure: OptionalText = ""
    """Remedy that is offered at once after such an answer: "Clean again?" """
    cure_from: StepId | None = None
    """The earlier step with which that remedy begins."""
    target: TargetName | None = None
    reads: ReadPoint | None = None
    """What is read at the machine. The machine sheet gives the expected figure, which the instruction names."""
    plays: str | None = None
    """Id of the section of the reference tape that plays meanwhile."""
    sends: tuple[SentTone, ...] = Field(default=(), max_length=1)
    """Tone that is sent meanwhile, in record or record-pause, where `plays` is not given."""


class Choice(Strict):
    """An answer to a decision, and where it leads."""

    say: Text
    go_to: StepId | None = None
    """A later step; default: the next one."""


class Decision(StepBase):
    """Choose between later steps, by the verdicts of an earlier step or by an answer."""

    kind: Literal["decision"]
    do: OptionalText = ""
    of: StepId | None = None
    """Earlier step whose verdicts decide. Give this, or `asks` with `choices`."""
    when_in: StepId | None = None
    """The step to go to when all its readings are in; default: the next one."""
    when_not: StepId | None = None
    """The step to go to when they are not."""
    asks: OptionalText = ""
    """The question to ask."""
    choices: tuple[Choice, ...] = ()
    """The answers to the question."""
    compares: Literal["standard"] | None = None
    """`standard`: show with the question how the owner's tapes play if replay is kept, and if it is set to the
    standard."""


class Prediction(Strict):
    """The later reading of this machine that a question is about, and the earlier one with which it is compared."""

    step: StepId
    """Later step that answers the question."""
    quantity: Judged
    frequency: float | None = None
    than: StepId
    """Earlier step with the reading for comparison."""


class Question(StepBase):
    """A question from the instructor. The first answer is kept; the `why` and `if_not` texts are shown after it."""

    kind: Literal["question"]
    do: OptionalText = ""
    asks: Text
    choices: tuple[Text, ...] = Field(min_length=2, max_length=6)
    right: OptionalText = ""
    """The right one of the choices, word for word. Give this or `predicts`."""
    because: OptionalText = ""
    """The reason, shown after the answer."""
    replies: tuple[OptionalText, ...] = ()
    """A reply to each choice in order, "" for none, shown after a wrong answer; then there is a second try."""
    predicts: Prediction | None = None
    """The reading that answers the question, with three choices in this order: higher, about the same, lower."""


class Follow(AnyStep):
    """The steps of another procedure in this folder. Cautions of this step are shown at the first of them."""

    kind: Literal["follow"]
    procedure: str = Field(pattern=ID)
    """File name without `.toml`. Its steps take the stage of this step; their ids begin with `<id>/`."""


class SignOff(StepBase):
    """Who accepts what."""

    kind: Literal["sign-off"]
    accepts: Text
    """What the signature means."""


SingleStep = (
    ByHand | Reference | Adjust | RecordReplay | Measure | InterfaceStep | Entry | Decision | Question | SignOff
)
"""Any step of a file except `follow`, which stands for the steps of another procedure."""

Step = Annotated[SingleStep | Follow, Field(discriminator="kind")]


def records(step: StepBase) -> bool:
    """Whether the machine records at a step."""
    if isinstance(step, Measure) and (step.records is not None or step.quantity in CIRCUIT):
        return True
    if isinstance(step, Entry):
        return step.reads is not None and step.plays is None
    return isinstance(step, RecordReplay) or (isinstance(step, Adjust | Measure) and bool(step.sends))


def plays_reference_tape(step: AnyStep) -> bool:
    """Whether the reference tape is played at a step."""
    return isinstance(step, Reference) or (isinstance(step, Adjust | Measure | Entry) and step.plays is not None)


def takes_reference_tape(step: AnyStep) -> bool:
    """Whether the reference tape is loaded or played at a step."""
    return plays_reference_tape(step) or (isinstance(step, ByHand) and "load-reference-tape" in step.does)
