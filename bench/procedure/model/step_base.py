"""What the models of all steps share: texts, cautions, order, and when a step applies. Imports no scipy."""

from __future__ import annotations

import re
from typing import Annotated, Literal, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from pydantic_core import PydanticCustomError

from bench.measure.stage import Stage

Hazard = Literal["mains", "demagnetiser", "solvent", "moving-parts", "loud-tones", "reference-tape", "owners-tape"]
Direction = Literal["forward", "reverse"]
NoiseReduction = Literal["off", "on", "record-only", "replay-only"]
"""Position of the noise-reduction switch at a step."""

IecType = Literal["I", "II", "IV", "open reel"]

Aspect = Literal[
    "speed",
    "replay azimuth",
    "replay level",
    "replay response",
    "record azimuth",
    "record level control",
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
"""What readings can show to be right, and what an adjustment can disturb."""

ASPECTS: tuple[Aspect, ...] = get_args(Aspect)

Part = Literal[
    "swab",
    "replay-swab",
    "record-swab",
    "head-face",
    "roller",
    "selector",
    "shell",
    "meters",
    "output-control",
    "hiss-of-stopped-tape",
    "owners-tape",
]
"""What can be looked at on the practice machine too."""

HIGHEST_HZ = 400_000.0
LONGEST_S = 3600.0
"""Longest tone and longest measurement."""

ID = r"^[a-z0-9][a-z0-9-]*$"
StepId = Annotated[str, Field(pattern=ID)]
"""The id of a step of the same file."""


def _reflowed(text: str) -> str:
    """Join the lines of a text; an empty line begins a paragraph."""
    return "\n\n".join(" ".join(part.split()) for part in re.split(r"\n[ \t]*\n", text.strip()))


def _not_blank(text: str) -> str:
    if not text:
        raise PydanticCustomError("blank", "is empty")
    return text


OptionalText = Annotated[str, AfterValidator(_reflowed)]
"""Text; may be empty."""

Text = Annotated[str, AfterValidator(_reflowed), AfterValidator(_not_blank)]
"""Text that must not be empty."""


class Strict(BaseModel):
    """Base of all models: no unknown keys, no conversions, only finite figures."""

    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, allow_inf_nan=False, use_attribute_docstrings=True
    )


class Caution(Strict):
    """A hazard, shown at the step."""

    hazard: Hazard
    say: Text
    """The usual caution; defers to the service manual, local codes and licensed practice."""


class SentTone(Strict):
    """A tone for the machine to record."""

    hz: float = Field(gt=0, le=HIGHEST_HZ)
    db: float = Field(ge=-200, le=60)
    """Relative to the reference level of the machine (0 dB is `send_dbfs` of its sheet)."""
    seconds: float = Field(default=3.0, gt=0, le=LONGEST_S)


class AppliesTo(Strict):
    """Facts of the sheets. All that are given must be true; from a list, one is enough."""

    heads: tuple[Literal[2, 3], ...] = ()
    tape_type: tuple[IecType, ...] = ()
    speed_mm_s: tuple[float, ...] = ()
    bass_equalisation_us: tuple[float, ...] = ()
    """The longer time constant of the machine's equalisation; 0 for none, as IEC has it at 19 cm/s and above."""
    trimmers: tuple[Text, ...] = ()
    """Trimmers, all of which the machine must have."""
    auto_reverse: bool | None = None
    noise_reduction: bool | None = None
    """Whether the machine has noise reduction."""
    separate_bias: bool | None = None
    """Whether each channel has its own bias trimmer."""
    test_point: bool | None = None
    """Whether the machine sheet names a test point for replay level."""
    meters: bool | None = None
    """Whether the machine sheet describes the meters."""
    encoder_test_point: bool | None = None
    """Whether the machine sheet names a test point of the encoder."""
    decoder_test_point: bool | None = None
    """Whether the machine sheet names a test point of the decoder."""
    current_test_points: bool | None = None
    """Whether the machine sheet names test points of erase and bias current."""
    tape_has: tuple[Text, ...] = ()
    """Targets, all of which the tape sheet must have."""
    tape_lacks: tuple[Text, ...] = ()
    """Targets, none of which it may have."""


class AnyStep(Strict):
    """Anything that has a place in the order of a procedure."""

    id: str = Field(pattern=ID)
    title: Text
    cautions: tuple[Caution, ...] = ()
    stage: Stage = "left"
    """Readings at an as-found stage get a verdict but are never judged."""
    applies_to: AppliesTo | None = None
    """A step that does not apply is not part of the job; the report says so."""
    each_direction: bool = False
    """On an auto-reverse machine the step is done forward and in reverse, as `<id>-forward` and `<id>-reverse`."""
    each_tape: bool = False
    """Where the machine is lined up for several tapes, the step is done for each; for further tapes its id is
    `<id>-<setting>`. A shared trimmer that was set with an earlier tape is not set again."""
    lot: OptionalText = ""
    """Which of several tapes this step uses: "blank A". A sign-off after two or more tapes ranks them. On the practice
    machine the first is the tape of the job; the others come from the other sheets of its type, by name."""
    direction: Direction | None = None
    """Direction of the tape at this step; without it, forward where something is measured."""


TARGET = "{target}"
"""Placeholder in the texts of a step with targets, for the figures in the sheet of this machine or tape."""
TONE, SECTION = "{tone}", "{section}"
"""Placeholders in title, texts and cautions of a step with `plays`: "3 kHz" and "3 kHz speed section", by the tape."""


class StepBase(AnyStep):
    """What every step has except `follow`."""

    do: Text
    """The instruction."""
    two_heads: OptionalText = ""
    """What to do first on a machine with two heads; shown ahead of `do`."""
    three_heads: OptionalText = ""
    """The same for a machine with three heads."""
    why: OptionalText = ""
    """For the trainee."""
    good: OptionalText = ""
    """What good looks like."""
    if_not: OptionalText = ""
    """What to do when it does not look good."""
    hints: tuple[Text, ...] = Field(default=(), max_length=3)
    """Shown one after another on request: what to think of, where to look, what to do."""
    disturbs: tuple[Aspect, ...] = ()
    """What must be checked again after this step, in addition to common practice."""


class AgainUntil(Strict):
    """Go back to an earlier step until this one is in."""

    back_to: StepId
    at_most: int = Field(default=3, ge=1, le=20)


class Measuring(StepBase):
    """Keys of every measuring step."""

    again_until: AgainUntil | None = None
    """Where to go when not all its readings are in."""
    noise_reduction: NoiseReduction = "off"
    """Position of the noise-reduction switch; the runner sets it, or asks for it, when it changes."""
