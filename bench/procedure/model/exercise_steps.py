"""The step that an exercise ends with; no procedure file has it."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from bench.procedure.model.step_base import StepBase, Strict, Text


class RivalTest(Strict):
    """What a cause can be taken for, and the test that tells the two apart."""

    cause: Text
    rival: Text
    test: Text


class NameCauses(StepBase):
    """Name what was wrong with the machine. It ends an exercise; no file has it."""

    kind: Literal["name-causes"]
    causes: tuple[Text, ...] = Field(min_length=1)
    """All causes that can be named."""
    rivals: tuple[RivalTest, ...] = ()
    """Of the causes that have one."""
