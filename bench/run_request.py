"""A request for a run: what a person chose on the screen or on the command line."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bench.procedure.model.sheets import Exercise


@dataclass(frozen=True, slots=True)
class RunRequest:
    """The procedure, and what to run it on. Sheets are named by file name or path; None is the procedure's own."""

    procedure: str
    machine: str | None = None
    tape: str | None = None
    reference_tape: str | None = None
    other_tapes: tuple[str, ...] = ()
    """Further tapes that the machine is lined up for; those of the procedure apply only with its own first tape."""
    other_reference_tapes: tuple[str, ...] = ()
    """Further reference tapes, by the same rule."""
    interface: str | None = None
    """The interface sheet; None for the newest sheet of the device, if there is one."""
    port: str = "practice"
    """`practice`, `live`, `live:DEVICE`, or the name of a file."""
    faults: tuple[str, ...] = ()
    seed: int = 1
    evidence: bool = False
    """Whether to keep the sound of each reading with the session."""
    after: Path | None = None
    """An earlier session; the practice machine starts with its trimmers as that session left them."""
    exercise: Exercise | None = None
    """The exercise, whose procedure, sheets and seed replace those above; None for none."""
    trainee: str = ""
    """Name of the trainee of an exercise."""
