"""What the models of all steps share: words, cautions, where a step stands and when it applies. Light: no scipy."""

from __future__ import annotations

import re
from typing import Annotated, Literal, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from pydantic_core import PydanticCustomError

from bench.measure.stage import Stage

Hazard = Literal["mains", "demagnetiser", "solvent", "moving-parts", "loud-tones", "reference-tape", "owners-tape"]
Direction = Literal["forward", "reverse"]
NoiseReduction = Literal["off", "on", "record-only", "replay-only"]
"""How the machine's noise-reduction switch stands at a step."""

IecType = Literal["I", "II", "IV", "open reel"]

Aspect = Literal[
    "speed",
    "replay azimuth",
    "replay level",
    "replay response",
    "record azimuth",
    "bias",
    "record level",
    "record response",
    "meters",
    "distortion",
    "noise",
    "separation",
    "erasure",
    "tracking",
]
"""What a line-up shows to be right, and what an adjustment can disturb."""

ASPECTS: tuple[Aspect, ...] = get_args(Aspect)

ID = r"^[a-z0-9][a-z0-9-]*$"
StepId = Annotated[str, Field(pattern=ID)]
"""The id of a step of the same file."""


def _reflowed(text: str) -> str:
    """A file may break its lines where it likes; an empty line is a new paragraph."""
    return "\n\n".join(" ".join(part.split()) for part in re.split(r"\n[ \t]*\n", text.strip()))


def _not_blank(text: str) -> str:
    if not text:
        raise PydanticCustomError("blank", "is empty")
    return text


OptionalText = Annotated[str, AfterValidator(_reflowed)]
"""Text to be read; may be left empty."""

Text = Annotated[str, AfterValidator(_reflowed), AfterValidator(_not_blank)]
"""Text that must say something."""


class Strict(BaseModel):
    """No unknown keys, no silent conversions, no figure that is not finite."""

    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, allow_inf_nan=False, use_attribute_docstrings=True
    )


class Caution(Strict):
    """A hazard, said where the step is."""

    hazard: Hazard
    say: Text
    """The usual caution; defers to the service manual, local codes and licensed practice."""


class SentTone(Strict):
    """A tone for the machine to record."""

    hz: float = Field(gt=0)
    db: float
    """Relative to the machine's reference level (0 dB = the machine sheet's `send_level`)."""
    seconds: float = Field(default=3.0, gt=0)


class AppliesTo(Strict):
    """Plain facts of the sheets. All that are given must hold; of a list, one."""

    heads: tuple[Literal[2, 3], ...] = ()
    tape_type: tuple[IecType, ...] = ()
    speed_mm_s: tuple[float, ...] = ()
    trimmers: tuple[Text, ...] = ()
    """Trimmers that the machine must have, all of them."""
    auto_reverse: bool | None = None
    noise_reduction: bool | None = None
    """Whether the machine has any."""
    separate_bias: bool | None = None
    """Whether each channel has a bias trimmer of its own."""
    test_point: bool | None = None
    """Whether the machine sheet names a test point at which replay level is taken."""
    meters: bool | None = None
    """Whether the machine sheet says what its own meters show."""


class Placed(Strict):
    """What stands in the order of a procedure."""

    id: str = Field(pattern=ID)
    title: Text
    cautions: tuple[Caution, ...] = ()
    stage: Stage = "left"
    """Readings of a found stage are told with a verdict but never judged."""
    applies_to: AppliesTo | None = None
    """A step that does not apply is left out when the job is put together; the report says so."""
    each_direction: bool = False
    """On an auto-reverse machine the step is done forward and in reverse, as `<id>-forward` and `<id>-reverse`."""
    direction: Direction | None = None
    """The direction in which the tape runs at this step; left out: forward where something is measured."""


class StepBase(Placed):
    """What every step has that a person does."""

    do: Text
    """The instruction."""
    why: OptionalText = ""
    """For the trainee."""
    good: OptionalText = ""
    """What good looks like."""
    if_not: OptionalText = ""
    """What to do when it does not."""
    hints: tuple[Text, ...] = Field(default=(), max_length=3)
    """Said one after another when a trainee asks: what to think of, where to look, what to do."""
    disturbs: tuple[Aspect, ...] = ()
    """What must be checked again when this was done, beside what the trade knows of it."""
    lot: OptionalText = ""
    """Which of several tapes this is of: "blank A". A sign-off after two or more ranks them. On the practice machine
    the first is the job's own tape, the others are the other sheets of its type, by name."""


class AgainUntil(Strict):
    """Back to an earlier step until this one is in, so many times at most."""

    back_to: StepId
    at_most: int = Field(default=3, ge=1, le=20)


class Measuring(StepBase):
    """What every step has at which something is measured."""

    again_until: AgainUntil | None = None
    """When not all its readings are in."""
    noise_reduction: NoiseReduction = "off"
    """How the machine's switch stands; the runner switches it, or asks for it, when that changes."""
