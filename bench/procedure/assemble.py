"""Puts a procedure together with what it follows and the sheets it is done with, noting every problem."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bench.procedure.fit import check_with_sheets
from bench.procedure.format import SHEETS, Read, SheetKind, read_procedure, read_sheet
from bench.procedure.job import Job, JobStep, UsedFile
from bench.procedure.order import check_order
from bench.procedure.problems import Finding, KeyPath, Wrong, did_you_mean, without_echoes
from bench.procedure.sheets import Machine, ReferenceTape, Tape
from bench.procedure.steps import Follow, Procedure, Step
from bench.workspace import Workspace

MOST_STEPS = 2000
"""Steps of a procedure with all that it follows; a file that follows another twice, and so on, grows fast."""

USUAL: dict[SheetKind, str] = {
    "machine": "three-head-cassette",
    "tape": "ferric-daily",
    "reference-tape": "cassette-reference",
}
"""The sheet where neither the person nor the procedure names one; if it is not there, the first by name."""

Wanted = Mapping[SheetKind, Path]
"""The sheets that a person named."""


@dataclass(frozen=True, slots=True)
class Placing:
    """A step in its place, and the step of the procedure itself that brought it there."""

    step: JobStep
    index: int
    """Of the procedure's own step, from 0."""


@dataclass(frozen=True)
class Assembly:
    """A job, or all the reasons why there is none."""

    job: Job | None
    findings: list[Finding]
    """All of them are of the procedure file itself; what is wrong with another file is told once, where it is used."""


def assemble(path: Path, workspace: Workspace, wanted: Wanted, *, told: frozenset[Path] = frozenset()) -> Assembly:
    """Put a job together.

    Args:
        path: the procedure file.
        workspace: where the sheets are, unless the procedure's own folder has `sheets/`.
        wanted: the sheets that were named.
        told: files whose own problems are being told anyway, so that they are not told again here.
    """
    read = read_procedure(path)
    document, steps = read.document, read.steps
    if document is None:
        return Assembly(None, read.findings)
    gathering = _Gathering(told, list(read.wrongs))
    placed = tuple(gathering.placed(steps, path, (path.resolve(),)))
    sheets = gathering.sheets(document.data, path, workspace, wanted)
    on_bench = tuple(p.step for p in placed)
    if gathering.whole and None not in steps:
        part = document.data.get("part") is True
        gathering.wrongs += _at_own_steps(placed, check_order(on_bench, part=part))
    gathering.wrongs += _at_own_steps(
        placed, check_with_sheets(on_bench, sheets.machine, sheets.tape, sheets.reference_tape)
    )
    wrongs = without_echoes(gathering.wrongs, read.wrongs)
    if (
        wrongs
        or not gathering.whole
        or not read.model
        or not (sheets.machine and sheets.tape and sheets.reference_tape)
    ):
        return Assembly(None, document.findings(wrongs))
    job = Job(
        name=path.stem,
        procedure=read.model,
        steps=on_bench,
        machine=sheets.machine,
        tape=sheets.tape,
        reference_tape=sheets.reference_tape,
        used=(UsedFile(path, document.content), *gathering.used),
        names=sheets.names,
    )
    return Assembly(job, [])


def _at_own_steps(placed: tuple[Placing, ...], wrongs: list[Wrong]) -> list[Wrong]:
    """What is wrong with a followed step is told at the `follow` step, once for each message."""
    out: dict[tuple[Any, ...], Wrong] = {}
    for w in wrongs:
        if w.at[0] != "step":  # of the sheets that were named, not of a step
            out.setdefault((w.at, w.message), w)
            continue
        index = placed[int(w.at[1])].index
        followed = "/" in placed[int(w.at[1])].step.id
        at: KeyPath = ("step", index, "procedure") if followed else ("step", index, *w.at[2:])
        message = f"{placed[int(w.at[1])].step.id}: {w.message}" if followed else w.message
        out.setdefault((at, w.message), Wrong(at, message, w.remedy))
    return list(out.values())


@dataclass(frozen=True, slots=True)
class _Sheets:
    """Those that could be read."""

    machine: Machine | None
    tape: Tape | None
    reference_tape: ReferenceTape | None
    names: dict[str, str]


@dataclass
class _Gathering:
    """What was found on the way."""

    told: frozenset[Path]
    wrongs: list[Wrong]
    used: list[UsedFile] = field(default_factory=list)
    whole: bool = True
    _read: dict[Path, Read[Procedure]] = field(default_factory=dict)
    _count: int = 0

    def placed(
        self, steps: Sequence[Step | None], path: Path, chain: tuple[Path, ...], own: int | None = None
    ) -> Iterator[Placing]:
        """The steps of a file, those of `follow` steps in their place.

        Args:
            steps: the file's, as far as they are understood.
            path: the file.
            chain: the files that led here, itself included.
            own: the procedure's own step that led here; None for the procedure itself.
        """
        for index, step in enumerate(steps):
            brought = index if own is None else own
            if isinstance(step, Follow):
                yield from self._followed(step, brought, path, chain)
            elif step is not None:
                self._count += 1
                yield Placing(step, brought)

    def _followed(self, step: Follow, own: int, path: Path, chain: tuple[Path, ...]) -> Iterator[Placing]:
        target = path.parent / f"{step.procedure}.toml"
        self._count += 1
        if self._count > MOST_STEPS:
            self._wrong(own, f"more than {MOST_STEPS} steps with all that is followed", "follow less")
            return
        read = self._procedure(step, own, target, chain)
        if read is None or read.model is None:
            return
        first = True
        for inner in self.placed(read.model.step, target, (*chain, target.resolve()), own):
            yield Placing(_moved(inner.step, step, first=first), own)
            first = False

    def _procedure(self, step: Follow, own: int, target: Path, chain: tuple[Path, ...]) -> Read[Procedure] | None:
        if target.resolve() in chain:
            self._wrong(own, f'"{step.procedure}" comes back to itself', "take one of the follow steps out")
            return None
        if not target.exists():
            names = (p.stem for p in sorted(target.parent.glob("*.toml")) if p.resolve() not in chain)
            self._wrong(
                own, f'there is no procedure "{step.procedure}" in this folder', did_you_mean(step.procedure, names)
            )
            return None
        read = self._read.get(target)
        if read is None:
            read = self._read[target] = read_procedure(target)
            if read.document is not None and read.model is not None:
                self.used.append(UsedFile(target, read.document.content))
            elif target.resolve() not in self.told:
                self._wrong(
                    own, f'"{step.procedure}" has a problem ({read.findings[0].sentence})', "mend that file first"
                )
        if read.model is None:
            self.whole = False
        return read

    def _wrong(self, own: int, message: str, remedy: str) -> None:
        self.whole = False
        wrong = Wrong(("step", own, "procedure"), message, remedy)
        if wrong not in self.wrongs:
            self.wrongs.append(wrong)

    def sheets(self, data: dict[str, Any], path: Path, workspace: Workspace, wanted: Wanted) -> _Sheets:
        """The three sheets, those that can be read."""
        beside = path.parent / "sheets"
        folder = beside if beside.is_dir() else workspace.sheets
        found: dict[SheetKind, Any] = {}
        names: dict[str, str] = {}
        for kind in USUAL:
            key = kind.replace("-", "_")
            sheet = wanted.get(kind) or self._sheet_path(kind, key, data.get(key), folder / SHEETS[kind][0])
            if sheet is None:
                continue
            read = read_sheet(sheet, kind)
            if read.document is not None and read.model is not None:
                self.used.append(UsedFile(sheet, read.document.content))
                found[kind] = read.model
                names[kind] = sheet.stem
            elif sheet.resolve() not in self.told:
                said = f"the {kind} sheet has a problem ({read.findings[0].sentence})"
                self.wrongs.append(Wrong((key,), said, "mend that file first"))
        return _Sheets(found.get("machine"), found.get("tape"), found.get("reference-tape"), names)

    def _sheet_path(self, kind: SheetKind, key: str, name: Any, folder: Path) -> Path | None:
        there = sorted(folder.glob("*.toml"))
        by_name = {p.stem: p for p in there}
        if isinstance(name, str):
            if name not in by_name:
                self.wrongs.append(Wrong((key,), f'there is no {kind} sheet "{name}"', did_you_mean(name, by_name)))
            return by_name.get(name)
        if not there:
            self.wrongs.append(Wrong((key,), f"there is no {kind} sheet in {folder}", "put one there"))
            return None
        return by_name.get(USUAL[kind], there[0])


def _moved(step: JobStep, follow: Follow, *, first: bool) -> JobStep:
    """A followed step in its place: with its path for an id, the stage and cautions of the step that follows it."""
    changes: dict[str, Any] = {"id": f"{follow.id}/{step.id}"}
    if follow.stage != "left":
        changes["stage"] = follow.stage
    if first and follow.cautions:
        changes["cautions"] = (*follow.cautions, *step.cautions)
    return step.model_copy(update=changes)
