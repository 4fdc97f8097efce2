"""Puts a job together from a procedure, the procedures it follows and the sheets, and collects every mistake."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from bench.procedure.load.check_fit import check_with_sheets
from bench.procedure.load.check_order import check_order
from bench.procedure.load.expansion import (
    PlacedStep,
    applicable,
    at_settings,
    for_each_tape,
    for_machine,
    in_each_direction,
    job_steps,
    why_not_applicable,
    within_follow,
)
from bench.procedure.load.file_problems import Finding, KeyPath, Mistake, did_you_mean, quoted, without_echoes
from bench.procedure.load.reader import SHEETS, ReadFile, SheetKind, read_procedure, read_sheet
from bench.procedure.load.section_fit import fit_to_sections, name_sections
from bench.procedure.load.tape_settings import tape_settings
from bench.procedure.model.job import Job, JobStep, TapeSetting, UsedFile
from bench.procedure.model.procedure import Procedure
from bench.procedure.model.sheets import Machine, ReferenceTape, Tape
from bench.procedure.model.steps import Follow, Step
from bench.workspace import Workspace

MOST_STEPS = 2000
"""Maximum number of steps, followed procedures included; files that follow each other twice grow fast."""

USUAL: dict[SheetKind, str] = {
    "machine": "three-head-cassette",
    "tape": "ferric-daily",
    "reference-tape": "cassette-reference",
}
"""Default sheets; where one is missing, the first by name."""

Wanted = Mapping[SheetKind, Sequence[Path]]
"""Sheets that a person named; the first of each kind serves the job itself, the others serve further tapes."""


@dataclass(frozen=True)
class Assembly:
    """A job, or all reasons why there is none."""

    job: Job | None
    findings: list[Finding]
    """All are about the procedure file; a mistake of another file is reported once, where the file is used."""


def assemble(path: Path, workspace: Workspace, wanted: Wanted, *, reported: frozenset[Path] = frozenset()) -> Assembly:
    """Put a job together.

    Args:
        path: the procedure file.
        workspace: it holds the sheets, unless the folder of the procedure has `sheets/`.
        wanted: the sheets that were named.
        reported: files whose mistakes are reported elsewhere, so not here.
    """
    read = read_procedure(path)
    document, steps = read.document, read.steps
    if document is None:
        return Assembly(None, read.findings)
    gathering = _Gathering(reported, list(read.mistakes))
    settings, sheet_files = gathering.settings(document.data, path, workspace, wanted)
    sheets = settings[0]
    placed = tuple(gathering.placed(steps, (path,), settings))
    whole = [s for one in settings if (s := one.whole()) is not None]
    if len(whole) == len(settings):
        placed = tuple(at_settings([_served(placing, whole, wanted) for placing in placed], whole))
    applies = tuple(applicable(placed))
    on_bench = tuple(step for step, _ in applies)
    why_not = why_not_applicable(read.model.applies_to if read.model else None, sheets.machine, sheets.tape)
    if why_not:  # whatever else does not fit follows from that
        said = f"this procedure is {why_not}"
        remedy = "choose another machine or tape, or another procedure"
        return Assembly(None, document.findings([*read.mistakes, Mistake(("applies_to",), said, remedy)]))
    if gathering.whole and None not in steps:
        part = document.data.get("part") is True
        gathering.mistakes += _at_own_steps(applies, check_order(on_bench, part=part))
    for one in settings:
        own = [(step, n) for step, n in applies if one is _of(settings, step.lot)]
        checked = check_with_sheets([step for step, _ in own], one.machine, one.tape, one.reference_tape)
        gathering.mistakes += _at_own_steps(own, checked)
    if gathering.whole and placed and not on_bench:
        said = "no step applies to this machine and tape"
        gathering.mistakes.append(Mistake(("step",), said, "name sheets that some step applies to"))
    mistakes = without_echoes(gathering.mistakes, read.mistakes)
    if (
        mistakes
        or not gathering.whole
        or not read.model
        or not (sheets.machine and sheets.tape and sheets.reference_tape)
    ):
        return Assembly(None, document.findings(mistakes))
    on_bench, inapplicable, named_steps = job_steps(placed)
    job = Job(
        name=path.stem,
        procedure=read.model,
        steps=on_bench,
        machine=sheets.machine,
        tape=sheets.tape,
        reference_tape=sheets.reference_tape,
        used=(UsedFile(path, document.content), *gathering.used, *sheet_files),
        names=sheets.names,
        further=tuple(whole[1:]),
        inapplicable=inapplicable,
        named_steps=named_steps,
    )
    return Assembly(_with_other_tapes(job, gathering.tape_path), [])


def _of(settings: Sequence[_Sheets], lot: str) -> _Sheets:
    """The sheets of a lot; those of the first tape for any other name."""
    return next((s for s in settings if s.lot == lot), settings[0])


def _served(placing: PlacedStep, settings: Sequence[TapeSetting], wanted: Wanted) -> PlacedStep:
    """Fit a step to the reference tape of its setting; to other sections only where another tape was named."""
    here = next((s for s in settings if s.lot == placing.step.lot), settings[0])
    fits = here is settings[0] and "reference-tape" not in wanted
    return name_sections(placing if fits else fit_to_sections(placing, here.reference_tape), here.reference_tape)


def _with_other_tapes(job: Job, own: Path) -> Job:
    """Add the tapes of the other lots to a job: sheets of the same type, by name."""
    others: list[tuple[Tape, UsedFile]] = []
    for path in sorted(own.parent.glob("*.toml")):
        if len(others) + 1 >= len(job.lots):
            break
        read = read_sheet(path, "tape")
        fits = path != own and read.model is not None and read.model.iec_type == job.tape.iec_type
        if fits and read.model is not None and read.document is not None:
            others.append((read.model, UsedFile(path, read.document.content)))
    used = (*job.used, *(file for _, file in others))
    return replace(job, other_tapes=tuple(tape for tape, _ in others), used=used)


def _at_own_steps(placed: Sequence[tuple[JobStep, int]], mistakes: list[Mistake]) -> list[Mistake]:
    """Report mistakes of followed steps at the `follow` step, each message once."""
    out: dict[tuple[Any, ...], Mistake] = {}
    for w in mistakes:
        if w.at[0] != "step":  # about the named sheets, not about a step
            out.setdefault((w.at, w.message), w)
            continue
        step, index = placed[int(w.at[1])]
        followed = "/" in step.id
        at: KeyPath = ("step", index, "procedure") if followed else ("step", index, *w.at[2:])
        message = f"{step.id}: {w.message}" if followed else w.message
        out.setdefault((at, w.message), Mistake(at, message, w.remedy))
    return list(out.values())


@dataclass(frozen=True, slots=True)
class _Sheets:
    """The sheets for one tape that could be read."""

    machine: Machine | None
    tape: Tape | None
    reference_tape: ReferenceTape | None
    names: dict[str, str]
    lot: str = ""

    def whole(self) -> TapeSetting | None:
        """The same, where all could be read."""
        if not (self.machine and self.tape and self.reference_tape):
            return None
        return TapeSetting(self.lot, self.machine, self.tape, self.reference_tape, self.names)


@dataclass
class _Gathering:
    """Collects steps, sheets and mistakes."""

    reported: frozenset[Path]
    mistakes: list[Mistake]
    used: list[UsedFile] = field(default_factory=list)
    whole: bool = True
    tape_path: Path = Path()
    _read: dict[Path, ReadFile[Procedure]] = field(default_factory=dict)
    _count: int = 0

    def placed(
        self,
        steps: Sequence[Step | None],
        chain: tuple[Path, ...],
        settings: Sequence[_Sheets],
        own: int | None = None,
        lot: str = "",
    ) -> Iterator[PlacedStep]:
        """The steps of a file, with `follow` steps replaced by the steps of their files.

        Args:
            steps: steps of the file, as far as they are understood.
            chain: the chain of files that follow each other, this one last.
            settings: sheets by tape; they decide which steps apply, and which are done in each direction.
            own: index of the procedure's own step from which the chain starts; None for the procedure itself.
            lot: lot of the `follow` step that names this file.
        """
        for index, step in enumerate(steps):
            if step is None:
                continue
            brought = index if own is None else own
            for of_tape in for_each_tape(step, [s.lot for s in settings] if not lot else [lot]):
                sheets = _of(settings, of_tape.lot or lot)
                why_not = why_not_applicable(step.applies_to, sheets.machine, sheets.tape)
                for one in in_each_direction(of_tape, sheets.machine):
                    names = tuple(dict.fromkeys((one.id, of_tape.id, step.id)))
                    if isinstance(one, Follow):
                        yield from self._followed(PlacedStep(one, brought, names, why_not), chain, settings, lot)
                    else:
                        self._count += 1
                        yield PlacedStep(for_machine(one, sheets.machine), brought, names, why_not)

    def _followed(
        self, placing: PlacedStep, chain: tuple[Path, ...], settings: Sequence[_Sheets], lot: str
    ) -> Iterator[PlacedStep]:
        step, own = placing.step, placing.index
        assert isinstance(step, Follow)
        target = chain[-1].parent / f"{step.procedure}.toml"
        self._count += 1
        if self._count > MOST_STEPS:
            self._mistake(own, f"more than {MOST_STEPS} steps with all that is followed", "follow less")
            return
        read = self._procedure(step, own, target, chain)
        if placing.why_not:
            yield placing
        elif read is not None and read.model is not None:
            first = True
            for inner in self.placed(read.model.step, (*chain, target), settings, own, step.lot or lot):
                yield within_follow(inner, placing, first=first)
                first = False

    def _procedure(self, step: Follow, own: int, target: Path, chain: tuple[Path, ...]) -> ReadFile[Procedure] | None:
        led = {p.resolve() for p in chain}
        if target.resolve() in led:
            self._mistake(own, f'"{step.procedure}" comes back to itself', "take one of the follow steps out")
            return None
        if not target.exists():
            names = (p.stem for p in sorted(target.parent.glob("*.toml")) if p.resolve() not in led)
            self._mistake(
                own, f'there is no procedure "{step.procedure}" in this folder', did_you_mean(step.procedure, names)
            )
            return None
        read = self._read.get(target)
        if read is None:
            read = self._read[target] = read_procedure(target)
            if read.document is not None and read.model is not None:
                self.used.append(UsedFile(target, read.document.content))
            elif target.resolve() not in self.reported:
                self._mistake(
                    own, f'"{step.procedure}" has a problem ({read.findings[0].sentence})', "correct that file first"
                )
        if read.model is None:
            self.whole = False
        return read

    def _mistake(self, own: int, message: str, remedy: str) -> None:
        self.whole = False
        mistake = Mistake(("step", own, "procedure"), message, remedy)
        if mistake not in self.mistakes:
            self.mistakes.append(mistake)

    def settings(
        self, data: dict[str, Any], path: Path, workspace: Workspace, wanted: Wanted
    ) -> tuple[list[_Sheets], list[UsedFile]]:
        """The sheets that can be read, by tape, and their files."""
        beside = path.parent / "sheets"
        folder = beside if beside.is_dir() else workspace.sheets
        found: dict[SheetKind, list[tuple[Path, Any]]] = {}
        used: list[UsedFile] = []
        for kind in USUAL:
            found[kind] = []
            for at, sheet in self._paths(kind, data, folder / SHEETS[kind][0], wanted):
                read = read_sheet(sheet, kind)
                if read.document is not None and read.model is not None:
                    used.append(UsedFile(sheet, read.document.content))
                    used += [UsedFile(*beside) for beside in read.beside]
                    found[kind].append((sheet, read.model))
                elif sheet.resolve() not in self.reported:
                    said = f"the {kind} sheet has a problem ({read.findings[0].sentence})"
                    self.mistakes.append(Mistake(at, said, "correct that file first"))
        firsts: dict[SheetKind, tuple[Path, Any]] = {kind: models[0] for kind, models in found.items() if models}
        machine, tape, reference = (firsts[kind][1] if kind in firsts else None for kind in USUAL)
        alone = _Sheets(machine, tape, reference, {kind: sheet.stem for kind, (sheet, _) in firsts.items()})
        if alone.whole() is None:
            return [alone], used
        self.tape_path = firsts["tape"][0]
        settings, mistakes = tape_settings(firsts["machine"], found["tape"], found["reference-tape"])
        self.mistakes += mistakes
        return [_Sheets(s.machine, s.tape, s.reference_tape, s.names, s.lot) for s in settings] or [alone], used

    def _paths(
        self, kind: SheetKind, data: dict[str, Any], folder: Path, wanted: Wanted
    ) -> Iterator[tuple[KeyPath, Path]]:
        """The sheets of a kind that were named, else those of the procedure, each with the key that names it.

        Naming only the procedure's own first sheet counts as naming none.
        """
        key = kind.replace("-", "_")
        named = wanted.get(kind, ())
        if named and [path.stem for path in named] != [data.get(key)]:
            yield from (((key,), path) for path in named)
            return
        first = next(iter(named), None) or self._sheet_path(kind, (key,), data.get(key), folder)
        if first is not None:
            yield (key,), first
        for n, name in enumerate(data.get(f"other_{key}s", ()) if kind != "machine" else ()):
            at = (f"other_{key}s", n)
            other = self._sheet_path(kind, at, name, folder) if isinstance(name, str) else None
            if other is not None:
                yield at, other

    def _sheet_path(self, kind: SheetKind, at: KeyPath, name: Any, folder: Path) -> Path | None:
        there = sorted(folder.glob("*.toml"))
        by_name = {p.stem: p for p in there}
        if isinstance(name, str):
            if name not in by_name:
                said = f"there is no {kind} sheet {quoted(name)}"
                self.mistakes.append(Mistake(at, said, did_you_mean(name, by_name)))
            return by_name.get(name)
        if not there:
            self.mistakes.append(Mistake(at, f"there is no {kind} sheet in {folder}", "put one there"))
            return None
        return by_name.get(USUAL[kind], there[0])
