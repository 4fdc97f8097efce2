"""Checks of what a file says, beyond the types of its keys. Each needs nothing but the file."""

from __future__ import annotations

from collections.abc import Sequence

from bench.procedure.job import JobStep
from bench.procedure.problems import Wrong
from bench.procedure.sheets import Machine, ReferenceTape, SheetBase, Tape
from bench.procedure.steps import Step


def check_steps(steps: Sequence[Step | None]) -> list[Wrong]:
    """Every problem that the steps of one file have among themselves."""
    return []


def check_sheet(sheet: SheetBase) -> list[Wrong]:
    """Every problem of a sheet."""
    return []


def check_order(steps: Sequence[JobStep], *, part: bool) -> list[Wrong]:
    """What is wrong with the order of the steps, those followed in their place."""
    return []


def check_with_sheets(
    steps: Sequence[JobStep], machine: Machine | None, tape: Tape | None, reference_tape: ReferenceTape | None
) -> list[Wrong]:
    """What is wrong between the steps and the sheets; a sheet that is not there is not asked."""
    return []
