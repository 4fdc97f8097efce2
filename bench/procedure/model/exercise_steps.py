"""The steps that only an exercise has: the choice of a test in mid-exercise, and the question that ends it."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from bench.procedure.model.step_base import StepBase, Strict, Text


class RivalTest(Strict):
    """What a cause can be taken for, and the test that tells the two apart."""

    cause: Text
    rival: Text
    test: Text


class ChooseTest(StepBase):
    """Choose a test that tells two causes apart, or go back. It appears in mid-exercise, never in a file."""

    kind: Literal["choose-test"]
    tests: tuple[Text, ...] = Field(min_length=1)
    """All tests that can be run."""


class NameCauses(StepBase):
    """Name what was wrong with the machine. It ends an exercise, and is never in a file."""

    kind: Literal["name-causes"]
    causes: tuple[Text, ...] = Field(min_length=1)
    """All causes that can be named."""
    rivals: tuple[RivalTest, ...] = ()
    """The rival of each cause that has one."""
