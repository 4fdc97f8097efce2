"""The models of a procedure file: one class for each kind of step. Light: no scipy, no numba."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from bench.audio.port import Act
from bench.measure.catalogue import QUANTITIES
from bench.procedure.model.step_base import (
    ASPECTS,
    ID,
    AgainUntil,
    AppliesTo,
    Aspect,
    Caution,
    Direction,
    Hazard,
    IecType,
    Measuring,
    NoiseReduction,
    OptionalText,
    Placed,
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
    "Placed",
    "Procedure",
    "Purpose",
    "Question",
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
Judged = Literal["level", "balance", "response", "azimuth_delay", "azimuth_angle", "speed_error"]
"""What a `reference` step can judge, each against a target of its own."""

if TYPE_CHECKING:
    Measurable = str
else:
    Measurable = Literal[tuple(name for name, quantity in QUANTITIES.items() if quantity.step == "measure")]
"""What a `measure` step can judge, each against a target of its own."""

CIRCUIT: Mapping[str, NoiseReduction] = {"encoding_error": "record-only", "decoding_error": "replay-only"}
"""What is measured of the noise-reduction circuit itself, with tones that are sent, and how its switch stands then."""


class ByHand(StepBase):
    """Something done by hand."""

    kind: Literal["by-hand"]
    does: tuple[Act, ...] = ()
    checklist: tuple[Text, ...] = ()
    timer_s: float = Field(default=0.0, ge=0)


class Reference(Measuring):
    """A play of the reference tape: each tone is recognised, measured when steady and ticked off."""

    kind: Literal["reference"]
    purposes: tuple[Purpose, ...] = ()
    """Which sections of the tape are wanted; empty means all of them."""
    targets: dict[Judged, TargetName] = Field(min_length=1)


class Adjust(Measuring):
    """One quantity brought to its target while a trimmer is turned."""

    kind: Literal["adjust"]
    via: Literal["live", "rounds", "ladder"] | None = None
    """`live`: read while it is turned. `rounds` (two heads): turn, record, rewind, replay, judge, and again.
    `ladder`: numbered positions recorded in one pass, the best one named. Left out: live from the reference tape and
    on three heads, else rounds."""
    quantity: Literal["level", "response", "azimuth_delay", "speed_error", "record_replay_level", "overbias"]
    """`overbias`: how far the tone has fallen past its peak as bias is raised, dB."""
    plays: str | None = None
    """The id of a section of the reference tape; or"""
    sends: tuple[SentTone, ...] = ()
    """tones to record: sent together and replayed at once (three heads), or replayed after (two heads); or"""
    programme: bool = False
    """music or speech, for azimuth: the owner's own tape."""
    frequency: float | None = None
    """The tone that is judged (where several sound); default: the only one."""
    reference_frequency: float | None = None
    """For `response`: the tone that it is relative to. From the reference tape it is relative to the level
    that its level section gave."""
    target: TargetName
    trimmers: dict[ChannelName, str] = Field(min_length=1)
    """Trimmer names by channel; `both` where one trimmer serves both."""
    trimmers_reverse: dict[ChannelName, str] = Field(default_factory=dict)
    """Likewise, those turned in reverse where `each_direction` has others for it."""
    positions: int = Field(default=9, ge=3, le=25)
    """Of a ladder: how many."""
    apart_degrees: float = Field(default=10.0, gt=0)
    """Of a ladder: from one position to the next."""
    at_most: int = Field(default=6, ge=1, le=20)
    """Rounds."""


class RecordReplay(Measuring):
    """The program sends, the machine records, the replay is measured."""

    kind: Literal["record-replay"]
    sends: tuple[SentTone, ...] = Field(min_length=1)
    """Sent one after another."""
    reference_hz: float
    """The response is relative to this one of the sent tones, which also gives the level."""
    certifies: bool = False
    """The tape is kept as a work tape: its readings carry what the reference tape left uncertain of replay."""
    targets: dict[Literal["record_replay_level", "response", "azimuth_delay", "mistracking"], TargetName] = Field(
        min_length=1
    )


class Measure(Measuring):
    """A quantity measured once and judged."""

    kind: Literal["measure"]
    quantity: Measurable
    method: OptionalText = ""
    """Which of the quantity's methods is judged, as the reading names it: "A-weighted rms". Left out: all it gives."""
    plays: str | None = None
    sends: tuple[SentTone, ...] = ()
    programme: bool = False
    """Music or speech plays, not tones: azimuth of the owner's own tape."""
    records: Literal["silence"] | None = None
    """Recorded with nothing sent, for noise."""
    erases: bool = False
    """The tones sent are recorded, then erased, and what is left of them is measured."""
    driven: Literal["left", "right"] | None = None
    """The channel that the tones are sent to, for separation."""
    of: tuple[StepId, ...] = ()
    """For `mistracking`: the steps whose level and response it is computed from; left out: the latest ones."""
    returns_to: StepId | None = None
    """The earlier step to whose reading it is to come back, within the target's tolerance, whatever its value is."""
    frequency: float | None = None
    seconds: float = Field(default=5.0, gt=0)
    target: TargetName


class LoopTone(Strict):
    """A tone for the interface itself."""

    hz: float = Field(gt=0)
    dbfs: float = Field(le=0)
    """A sine whose peaks reach full scale is 0 dBFS (AES17)."""


class InterfaceStep(Measuring):
    """Output looped to input: what is found of the interface itself. `calibrate-interface` is made of these."""

    kind: Literal["interface"]
    finds: Literal["channels", "full-scale", "response", "noise", "distortion", "linearity", "clock"]
    """`full-scale` and `clock` ask for what a voltmeter and a counter at the output read."""
    sends: tuple[LoopTone, ...] = ()
    """One after another; response and linearity are relative to the first."""
    limit: float
    """How far from right it may be: dB (channels: at least; response and linearity: either way), V of a full-scale
    sine (at least), dBFS and % (at most) or ppm."""
    instrument_percent: float = Field(default=1.5, gt=0)
    """Uncertainty (k = 2) of the instrument whose reading is typed."""
    source: Text = "common practice, no source"
    """Where the limit comes from."""


class Entry(StepBase):
    """A number, a choice or words read by the person from something else."""

    kind: Literal["entry"]
    asks: Literal["number", "choice", "words", "complaint"]
    """`complaint`: what the owner says is wrong, in the owner's words; the report begins its summary with them."""
    unit: str = ""
    choices: tuple[Text, ...] = ()
    target: TargetName | None = None


class Choice(Strict):
    """An answer to a decision, and where it leads."""

    say: Text
    go_to: StepId | None = None
    """A later step; left out: the next one."""


class Decision(StepBase):
    """Goes on to one later step or another, by the verdicts of an earlier step or by an answer."""

    kind: Literal["decision"]
    do: OptionalText = ""
    of: StepId | None = None
    """The earlier step whose verdicts decide; then"""
    when_in: StepId | None = None
    """where to go when all its readings are in; left out: the next step,"""
    when_not: StepId | None = None
    """and where to go when they are not; or"""
    asks: OptionalText = ""
    """what the person is asked,"""
    choices: tuple[Choice, ...] = ()
    """with the answers."""


class Question(StepBase):
    """An instructor's question. It teaches; the answer is kept and never judged."""

    kind: Literal["question"]
    do: OptionalText = ""
    asks: Text
    choices: tuple[Text, ...] = Field(min_length=2, max_length=6)
    right: Text
    """One of the choices, word for word."""
    because: Text
    """Why; said after the answer."""


class Follow(Placed):
    """Another procedure of this folder, in its place. Its cautions are said with the first of those steps."""

    kind: Literal["follow"]
    procedure: str = Field(pattern=ID)
    """The file's name without `.toml`. Its steps take this step's stage and get `<id>/` before theirs."""


class SignOff(StepBase):
    """Who accepts what."""

    kind: Literal["sign-off"]
    accepts: Text
    """What the signature stands for."""


Step = Annotated[
    ByHand
    | Reference
    | Adjust
    | RecordReplay
    | Measure
    | InterfaceStep
    | Entry
    | Decision
    | Question
    | Follow
    | SignOff,
    Field(discriminator="kind"),
]


class Procedure(Strict):
    """A whole procedure file."""

    format: Literal[1]
    title: Text
    summary: Text
    takes_minutes: float = Field(gt=0)
    needs: tuple[Text, ...] = ()
    part: bool = False
    """Made to be followed by others. Run alone, the runner asks at its interlocks."""
    machine: str | None = None
    """The machine sheet, by its file name without `.toml`, when none is named at the start."""
    tape: str | None = None
    """Likewise the tape sheet."""
    reference_tape: str | None = None
    """Likewise the reference-tape sheet."""
    step: tuple[Step, ...] = Field(min_length=1)


def records(step: StepBase) -> bool:
    """Whether the machine records at a step."""
    if isinstance(step, Measure) and (step.records is not None or step.quantity in CIRCUIT):
        return True
    return isinstance(step, RecordReplay) or (isinstance(step, Adjust | Measure) and bool(step.sends))


def plays_reference_tape(step: StepBase) -> bool:
    """Whether the reference tape is played at a step."""
    return isinstance(step, Reference) or (isinstance(step, Adjust | Measure) and step.plays is not None)
