"""The model of a whole procedure file."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from bench.procedure.model.step_base import AppliesTo, Strict, Text
from bench.procedure.model.steps import Step

Asked = Literal[
    "fit-for-noise-reduction",
    "noise-reduction-circuits",
    "which-tape",
    "foreign-tape",
    "check-tape",
    "interface",
    "after-repair",
]
"""The questions that a job can answer."""


class Procedure(Strict):
    """A whole procedure file."""

    format: Literal[1]
    title: Text
    summary: Text
    takes_minutes: float = Field(gt=0)
    needs: tuple[Text, ...] = ()
    answers: Asked | None = None
    """The question of the job; the report begins with the answer."""
    part: bool = False
    """Whether it is meant to be followed by other procedures. By itself it asks at its interlocks."""
    applies_to: AppliesTo | None = None
    """The machines and tapes for which it is made; with others it is refused before it starts."""
    machine: str | None = None
    """File name of the machine sheet without `.toml`, used unless another is named at the start."""
    tape: str | None = None
    """File name of the tape sheet, by the same rule."""
    reference_tape: str | None = None
    """File name of the reference-tape sheet, by the same rule."""
    other_tapes: tuple[str, ...] = ()
    """Sheets of further tapes, each with its own setting of the machine; steps with `each_tape` are done for each."""
    other_reference_tapes: tuple[str, ...] = ()
    """Reference-tape sheets for settings with another speed or equalisation."""
    step: tuple[Step, ...] = Field(min_length=1)
