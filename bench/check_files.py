"""Every mistake in procedures and sheets, including those that only a practice machine or an exercise shows."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from bench.open_exercise import load_exercise
from bench.practice_setup import check_practice_table
from bench.problem import Problem
from bench.procedure.load import validate
from bench.procedure.load.document import read_document
from bench.procedure.load.file_problems import Finding, Mistake
from bench.procedure.load.library import Library
from bench.procedure.load.reader import load_sheet
from bench.workspace import Workspace


def check_files(paths: Sequence[Path], workspace: Workspace) -> list[Finding]:
    """Every mistake in these files.

    Args:
        paths: the files.
        workspace: it holds the sheets of a procedure and of an exercise.
    """
    found = validate.check_files(paths, workspace)
    broken = {f.file for f in found}
    return [*found, *(f for path in paths if path not in broken for f in _mistakes_in_use(path, workspace))]


def _mistakes_in_use(path: Path, workspace: Workspace) -> list[Finding]:
    """The mistakes of a sheet that appear only when a practice machine or an exercise uses it."""
    document = read_document(path)
    if isinstance(document, Finding):
        return []
    kind, place = document.data.get("sheet"), "practice"
    try:
        if kind == "exercise":
            place = "faults"
            load_exercise(Library(_workspace_of(path, workspace)), load_sheet(path, "exercise"))
        else:
            of_interface = path.resolve().parent.name == "interface"
            for table in (document.data, *document.data.get("setting", ())):
                check_practice_table(str(kind), table.get("practice", {}), of_interface=of_interface)
    except Problem as problem:
        message, _, remedy = problem.sentence.removeprefix("the sheet: ").rpartition("; ")
        said = (message, remedy) if message else (remedy, "see the names in a sheet that is right")
        return [document.finding(Mistake((place,), *said))]
    return []


def _workspace_of(path: Path, workspace: Workspace) -> Workspace:
    """The workspace that contains a sheet; the given one where none does."""
    folder = path.resolve().parent.parent.parent
    return Workspace(folder.parent) if folder.name == "procedures" else workspace
