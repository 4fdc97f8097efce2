"""Exercises in the chooser: which one was chosen, and a new one to be edited."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from bench.problem import Problem
from bench.tui.choices import AN_EXERCISE, EXERCISE_FILE
from bench.workspace import Workspace, write_new

if TYPE_CHECKING:
    from bench.procedure.model.sheets import Exercise

FAULTS = 2
"""Number of faults that are drawn where no exercise file says what is hidden."""
YOUR_NAME = "Exercise: your name."
YOUR_NAME_AND_NUMBER = (
    "Exercise: your name and its number, such as: Ada 7. The same number is the same machine for all."
)


def name_and_number(typed: str) -> tuple[str, int]:
    """The trainee's name and the number of the exercise, from one line; 1 where no number is typed."""
    name, _, last = typed.rpartition(" ")
    return (name.strip(), int(last[:9])) if last.isdecimal() else (typed, 1)


def exercise_of(workspace: Workspace, chosen: dict[str, str], number: int) -> Exercise:
    """The chosen exercise file; without one, the job as it is chosen, with faults drawn by its number.

    Args:
        workspace: workspace with the exercise files.
        chosen: keys of the chosen options, by the lines of the chooser.
        number: number of the exercise.

    Raises:
        Problem: the file is missing or broken.
    """
    from bench.procedure.load.library import Library
    from bench.procedure.load.reader import load_sheet
    from bench.procedure.model.sheets import Exercise

    if (port := chosen["port"]) != AN_EXERCISE:
        path = Library(workspace).sheet_path(port.removeprefix(EXERCISE_FILE), "exercise")
        return load_sheet(path, "exercise")
    return Exercise(
        format=1,
        sheet="exercise",
        name=f"{chosen['procedure']} {number}",
        procedure=chosen["procedure"],
        machine=chosen.get("machine"),
        tape=chosen.get("tape"),
        reference_tape=chosen.get("reference-tape"),
        seed=number,
        draws=FAULTS,
    )


def new_exercise(workspace: Workspace, chosen: dict[str, str]) -> Path:
    """Write an exercise on a job, to be edited: one fault that the job can show, and the others as comments.

    Args:
        workspace: workspace with the exercise files.
        chosen: procedure, machine, tape and reference tape, by the lines of the chooser.

    Raises:
        Problem: the job is broken or shows no fault, or the file can't be written.
    """
    from bench.procedure.load.library import Library
    from bench.training.exercise import fault_shows

    library = Library(workspace)
    names = {key: chosen.get(key.replace("_", "-"), "") for key in ("machine", "tape", "reference_tape")}
    job = library.load_job(chosen.get("procedure", ""), *(name or None for name in names.values()))
    shown = [s for s in library.sheets("fault") if not s.broken and fault_shows(job, library.fault(s.path))]
    if not shown:
        raise Problem(f"{job.name} measures nothing that shows a fault; choose a procedure that measures more")
    lines = [
        'format = 1\nsheet = "exercise"\nname = "My exercise"',
        '# What the trainee may know beforehand.\nnotes = "The deck was lined up not long ago."',
        f'procedure = "{job.name}"',
        *(f'{key} = "{name}"' for key, name in names.items() if name),
        "# The same number is the same machine for a whole class.\nseed = 1",
        '# What the owner says, before the first step.\ncomplaint = "It does not sound as it used to."',
        "# What is hidden. This procedure can show:",
        *(f'#   "{s.name}": {s.title}' for s in shown),
        f'faults = ["{shown[0].name}"]',
        "# How many more are drawn by the seed.\ndraws = 0",
        "dirty = false\nout_of_adjustment = false",
        "# The faults that must be named; without this line, everything that is hidden.",
        f'# must_find = ["{shown[0].name}"]',
    ]
    return write_new(workspace.sheets / "exercises", "my-exercise", "\n".join(lines) + "\n")
