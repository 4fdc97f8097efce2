"""The files of a workspace: lists them, finds them by name or path, and puts jobs together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bench.problem import Problem
from bench.procedure.load.assemble import Assembly, Wanted, assemble
from bench.procedure.load.file_problems import did_you_mean, quoted
from bench.procedure.load.reader import SHEETS, ReadFile, SheetKind, load_sheet, raise_first, read_procedure, read_sheet
from bench.procedure.model.job import Job
from bench.procedure.model.sheets import Fault
from bench.workspace import Workspace


@dataclass(frozen=True, slots=True)
class Listed:
    """A file in a list, broken ones included."""

    name: str
    """File name without `.toml`."""
    path: Path
    title: str
    """Title of the procedure or name of the sheet; the file name where it is broken."""
    about: str
    """Summary of the procedure or notes of the sheet."""
    broken: str = ""
    """The first mistake, in one sentence; "" without one."""
    part: bool = False
    """Whether it is a procedure meant to be followed by others."""
    takes_minutes: float = 0.0


class Library:
    """The procedures and sheets of a workspace."""

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace

    def procedures(self) -> tuple[Listed, ...]:
        """All procedures, by name."""
        return tuple(_listed_procedure(read_procedure(p)) for p in _files(self.workspace.procedures))

    def sheets(self, kind: SheetKind) -> tuple[Listed, ...]:
        """All sheets of a kind, by name."""
        folder = self.workspace.sheets / SHEETS[kind][0]
        return tuple(_listed_sheet(read_sheet(p, kind)) for p in _files(folder))

    def procedure_path(self, name: str | Path) -> Path:
        """The file of a procedure, by name or path.

        Raises:
            Problem: there is none.
        """
        return self._find(str(name), self.workspace.procedures, "procedure")

    def sheet_path(self, name: str | Path, kind: SheetKind) -> Path:
        """The file of a sheet, by name or path.

        Raises:
            Problem: there is none.
        """
        return self._find(str(name), self.workspace.sheets / SHEETS[kind][0], f"{kind} sheet")

    def fault(self, name: str | Path) -> Fault:
        """A fault sheet.

        Raises:
            Problem: there is none, or it is broken.
        """
        return load_sheet(self.sheet_path(name, "fault"), "fault")

    def load_job(
        self,
        procedure: str | Path,
        machine: str | Path | None = None,
        tape: str | Path | None = None,
        reference_tape: str | Path | None = None,
        *,
        other_tapes: Sequence[str | Path] = (),
        other_reference_tapes: Sequence[str | Path] = (),
    ) -> Job:
        """Put a job together and check it.

        Args:
            procedure: its name or its path.
            machine: name or path of the machine sheet; by default that of the procedure, else the usual one.
            tape: name or path of the tape sheet, with the same default.
            reference_tape: name or path of the reference-tape sheet, with the same default.
            other_tapes: sheets of further tapes that the machine is lined up for; those of the procedure apply only
                together with its own first tape.
            other_reference_tapes: further reference-tape sheets, by the same rule.

        Raises:
            Problem: the first mistake of the procedure, of those it follows or of a sheet; or a missing file.
        """
        named: dict[SheetKind, Sequence[str | Path | None]] = {
            "machine": (machine,),
            "tape": (tape, *other_tapes),
            "reference-tape": (reference_tape, *other_reference_tapes),
        }
        paths = {kind: [self.sheet_path(n, kind) for n in names if n is not None] for kind, names in named.items()}
        wanted: Wanted = {kind: found for kind, found in paths.items() if found}
        assembly: Assembly = assemble(self.procedure_path(procedure), self.workspace, wanted)
        raise_first(assembly.findings)
        assert assembly.job is not None
        return assembly.job

    def _find(self, name: str, folder: Path, what: str) -> Path:
        if name.endswith(".toml") or "/" in name or "\\" in name:
            for path in (Path(name), self.workspace.root / name, folder / f"{name}.toml"):
                if path.exists():
                    return path
            raise Problem(f"{name}: no such file; {what}s lie in {folder}")
        path = folder / f"{name}.toml"
        if path.exists():
            return path
        raise Problem(
            f"there is no {what} {quoted(name)} in {folder}; {did_you_mean(name, (p.stem for p in _files(folder)))}"
        )


def _files(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.toml")) if folder.is_dir() else []


def _listed_procedure(read: ReadFile[Any]) -> Listed:
    p = read.model
    if p is None:
        return Listed(read.path.stem, read.path, read.path.stem, "", read.findings[0].sentence)
    return Listed(read.path.stem, read.path, p.title, p.summary, "", p.part, p.takes_minutes)


def _listed_sheet(read: ReadFile[Any]) -> Listed:
    s = read.model
    if s is None:
        return Listed(read.path.stem, read.path, read.path.stem, "", read.findings[0].sentence)
    return Listed(read.path.stem, read.path, s.name, s.notes)
