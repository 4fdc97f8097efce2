"""The models of a procedure file: one class for each kind of step. Light: no scipy, no numba."""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from pydantic_core import PydanticCustomError

from bench.audio.port import Act
from bench.procedure.targets import TargetName

Hazard = Literal["mains", "demagnetiser", "solvent", "moving-parts", "loud-tones", "reference-tape", "owners-tape"]
Stage = Literal["found-dirty", "found-clean", "left"]
Purpose = Literal["level", "azimuth", "response", "speed"]
ChannelName = Literal["left", "right", "both"]
Judged = Literal["level", "balance", "response", "azimuth_delay", "azimuth_angle", "speed_error"]
"""What a `reference` step can judge, each against a target of its own."""


def _reflowed(text: str) -> str:
    """A file may break its lines where it likes; an empty line is a new paragraph."""
    return "\n\n".join(" ".join(part.split()) for part in re.split(r"\n[ \t]*\n", text.strip()))


def _said(text: str) -> str:
    if not text:
        raise PydanticCustomError("blank", "is empty")
    return text


Words = Annotated[str, AfterValidator(_reflowed)]
"""Text to be read; may be left empty."""

Said = Annotated[str, AfterValidator(_reflowed), AfterValidator(_said)]
"""Text that must say something."""


class Strict(BaseModel):
    """No unknown keys, no silent conversions, no figure that is not finite."""

    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, allow_inf_nan=False, use_attribute_docstrings=True
    )


class Caution(Strict):
    """A hazard, said where the step is."""

    hazard: Hazard
    say: Said
    """The usual caution; defers to the service manual, local codes and licensed practice."""


class SentTone(Strict):
    """A tone for the machine to record."""

    hz: float = Field(gt=0)
    db: float
    """Relative to the machine's reference level (0 dB = the machine sheet's `send_level`)."""
    seconds: float = Field(default=3.0, gt=0)


class Placed(Strict):
    """What stands in the order of a procedure."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]*$")
    title: Said
    cautions: tuple[Caution, ...] = ()
    stage: Stage = "left"
    """Readings of a found stage are told with a verdict but never judged."""


class StepBase(Placed):
    """What every step has that a person does."""

    do: Said
    """The instruction."""
    why: Words = ""
    """For the trainee."""
    good: Words = ""
    """What good looks like."""
    if_not: Words = ""
    """What to do when it does not."""


class ByHand(StepBase):
    """Something done by hand."""

    kind: Literal["by-hand"]
    does: tuple[Act, ...] = ()
    checklist: tuple[Said, ...] = ()
    timer_s: float = Field(default=0.0, ge=0)


class Reference(StepBase):
    """A play of the reference tape: each tone is recognised, measured when steady and ticked off."""

    kind: Literal["reference"]
    purposes: tuple[Purpose, ...] = ()
    """Which sections of the tape are wanted; empty means all of them."""
    targets: dict[Judged, TargetName] = Field(min_length=1)


class Adjust(StepBase):
    """One quantity brought to its target while a trimmer is turned."""

    kind: Literal["adjust"]
    via: Literal["live"] = "live"
    quantity: Literal["level", "response", "azimuth_delay", "speed_error", "record_replay_level"]
    plays: str | None = None
    """The id of a section of the reference tape; or"""
    sends: tuple[SentTone, ...] = ()
    """tones sent together, recorded and replayed at once (three heads)."""
    frequency: float | None = None
    """The tone that is judged (where several sound); default: the only one."""
    reference_frequency: float | None = None
    """For `response`: the tone that it is relative to. From the reference tape it is relative to the level
    that its level section gave."""
    target: TargetName
    trimmers: dict[ChannelName, str] = Field(min_length=1)
    """Trimmer names by channel; `both` where one trimmer serves both."""


class RecordReplay(StepBase):
    """The program sends, the machine records, the replay is measured."""

    kind: Literal["record-replay"]
    sends: tuple[SentTone, ...] = Field(min_length=1)
    """Sent one after another."""
    reference_hz: float
    """The response is relative to this one of the sent tones, which also gives the level."""
    targets: dict[Literal["record_replay_level", "response", "azimuth_delay"], TargetName] = Field(min_length=1)


class Measure(StepBase):
    """A quantity measured once and judged."""

    kind: Literal["measure"]
    quantity: Literal["level", "balance", "azimuth_delay", "azimuth_angle", "speed_error", "speed_drift"]
    plays: str | None = None
    sends: tuple[SentTone, ...] = ()
    frequency: float | None = None
    seconds: float = Field(default=5.0, gt=0)
    target: TargetName


class Entry(StepBase):
    """A number, a choice or words read by the person from something else."""

    kind: Literal["entry"]
    asks: Literal["number", "choice", "words"]
    unit: str = ""
    choices: tuple[Said, ...] = ()
    target: TargetName | None = None


class Follow(Placed):
    """Another procedure of this folder, in its place. Its cautions are said with the first of those steps."""

    kind: Literal["follow"]
    procedure: str = Field(pattern=r"^[a-z0-9][a-z0-9-]*$")
    """The file's name without `.toml`. Its steps take this step's stage and get `<id>/` before theirs."""


class SignOff(StepBase):
    """Who accepts what."""

    kind: Literal["sign-off"]
    accepts: Said
    """What the signature stands for."""


Step = Annotated[
    ByHand | Reference | Adjust | RecordReplay | Measure | Entry | Follow | SignOff, Field(discriminator="kind")
]


class Procedure(Strict):
    """A whole procedure file."""

    format: Literal[1]
    title: Said
    summary: Said
    takes_minutes: float = Field(gt=0)
    needs: tuple[Said, ...] = ()
    part: bool = False
    """Made to be followed by others. Run alone, the runner asks at its interlocks."""
    machine: str | None = None
    """The machine sheet, by its file name without `.toml`, when none is named at the start."""
    tape: str | None = None
    """Likewise the tape sheet."""
    reference_tape: str | None = None
    """Likewise the reference-tape sheet."""
    step: tuple[Step, ...] = Field(min_length=1)
