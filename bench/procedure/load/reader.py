"""Reads procedures and sheets, and either collects every mistake or raises the first.

Checks that need other files are in `assemble`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Generic, Literal, TypeVar, overload

from pydantic import TypeAdapter, ValidationError

from bench.problem import Problem
from bench.procedure.load.check_file import check_steps
from bench.procedure.load.check_measuring import AGREES
from bench.procedure.load.check_sheets import check_sheet
from bench.procedure.load.document import Document, hidden_text, read_document
from bench.procedure.load.file_problems import (
    Finding,
    KeyPath,
    Mistake,
    did_you_mean,
    from_validator,
    kind_of,
    quoted,
    without_echoes,
)
from bench.procedure.load.reference_set import join_tapes
from bench.procedure.model.procedure import Procedure
from bench.procedure.model.sheets import (
    Exercise,
    Fault,
    Interface,
    Machine,
    ReferenceSet,
    ReferenceTape,
    SheetBase,
    Tape,
)
from bench.procedure.model.steps import Step, Strict

FORMAT = 1
"""Version of the file format that this program reads."""

SheetKind = Literal["machine", "tape", "reference-tape", "interface", "fault", "exercise"]

SHEETS: dict[SheetKind, tuple[str, type[SheetBase]]] = {
    "machine": ("machines", Machine),
    "tape": ("tapes", Tape),
    "reference-tape": ("reference-tapes", ReferenceTape),
    "interface": ("interfaces", Interface),
    "fault": ("faults", Fault),
    "exercise": ("exercises", Exercise),
}
"""Folder and model of each kind of sheet."""

Model = TypeVar("Model", bound=Strict)


@dataclass(frozen=True)
class ReadFile(Generic[Model]):
    """A file, its content and its mistakes."""

    path: Path
    document: Document | None
    """None when the file is not TOML."""
    model: Model | None
    """None where there is any finding."""
    findings: list[Finding]
    mistakes: tuple[Mistake, ...] = ()
    """The findings without lines."""
    steps: tuple[Step | None, ...] = ()
    """Steps of a procedure as far as they are understood, even with findings."""
    beside: tuple[tuple[Path, bytes], ...] = ()
    """Files that a set of reference tapes names, with their content."""

    def whole(self) -> Model:
        """The model.

        Raises:
            Problem: the first finding, and how many more there are.
        """
        raise_first(self.findings)
        assert self.model is not None
        return self.model


def raise_first(findings: list[Finding]) -> None:
    """Raise the first of all findings, if there are any.

    Raises:
        Problem: its sentence, and how many more there are.
    """
    if findings:
        more = f" (and {len(findings) - 1} more; tapebench validate lists all)" if len(findings) > 1 else ""
        raise Problem(findings[0].sentence + more)


def read_procedure(path: Path) -> ReadFile[Procedure]:
    """Read a procedure, with all checks that need only the file."""
    document = read_document(path)
    if isinstance(document, Finding):
        return ReadFile(path, None, None, [document])
    if "procedure" not in document.made:
        document.made["procedure"] = _procedure_in(document)
    read: ReadFile[Procedure] = document.made["procedure"]
    return read


def _procedure_in(document: Document) -> ReadFile[Procedure]:
    path = document.path
    mistakes = _version(document.data)
    if mistakes:
        return ReadFile(path, document, None, document.findings(mistakes), tuple(mistakes))
    model, mistakes = _fit(Procedure, document.data)
    mistakes = [_own_recording(w) for w in mistakes]
    steps = _sound_steps(document.data, mistakes)
    mistakes = without_echoes([*mistakes, *check_steps(steps, _ids(document.data))], mistakes)
    return ReadFile(path, document, None if mistakes else model, document.findings(mistakes), tuple(mistakes), steps)


def read_sheet(path: Path, kind: SheetKind) -> ReadFile[Any]:
    """Read a sheet of a kind, with all checks that need only the file."""
    document = read_document(path)
    if isinstance(document, Finding):
        return ReadFile(path, None, None, [document])
    if kind == "reference-tape" and document.data.get("sheet") == "reference-set":
        return _read_set(path, document)
    if kind not in document.made:
        document.made[kind] = _sheet_in(document, kind)
    read: ReadFile[Any] = document.made[kind]
    return read


def _sheet_in(document: Document, kind: SheetKind) -> ReadFile[Any]:
    path = document.path
    mistakes = _version(document.data) or _sheet_kind(document.data.get("sheet"), kind)
    if mistakes:
        return ReadFile(path, document, None, document.findings(mistakes), tuple(mistakes))
    model, mistakes = _fit(SHEETS[kind][1], document.data)
    if model is not None:
        mistakes += check_sheet(model)
    return ReadFile(path, document, None if mistakes else model, document.findings(mistakes), tuple(mistakes))


def _read_set(path: Path, document: Document) -> ReadFile[Any]:
    """Read a set of reference tapes, whose sheets lie beside it, as one tape."""
    mistakes = _version(document.data)
    whole, more = _fit(ReferenceSet, document.data) if not mistakes else (None, [])
    mistakes += more
    read: list[ReadFile[Any]] = []
    there = {p.stem: p for p in sorted(path.parent.glob("*.toml"))}
    for n, name in enumerate(whole.tapes if whole is not None else ()):
        if name not in there:
            said = f"there is no reference-tape sheet {quoted(name)}"
            mistakes.append(Mistake(("tapes", n), said, did_you_mean(name, [t for t in there if t != path.stem])))
            continue
        tape = _read_member(there[name])
        read.append(tape)
        if tape.model is None:
            said = f"{quoted(name)} has a problem ({tape.findings[0].sentence})"
            mistakes.append(Mistake(("tapes", n), said, "correct that file first"))
    one: ReferenceTape | None = None
    if whole is not None and not mistakes:
        one, mistakes = join_tapes(whole, [r.model for r in read if r.model is not None])
    beside_it = tuple((r.path, r.document.content) for r in read if r.document is not None)
    return ReadFile(path, document, one, document.findings(mistakes), tuple(mistakes), beside=beside_it)


def _read_member(path: Path) -> ReadFile[Any]:
    """Read a tape of a set, which must not be a set itself."""
    document = read_document(path)
    if not isinstance(document, Finding) and document.data.get("sheet") == "reference-set":
        finding = document.finding(Mistake(("sheet",), "is a set, not a tape", "name its tapes instead"))
        return ReadFile(path, document, None, [finding])
    return read_sheet(path, "reference-tape")


@overload
def load_sheet(path: Path, kind: Literal["machine"]) -> Machine: ...
@overload
def load_sheet(path: Path, kind: Literal["tape"]) -> Tape: ...
@overload
def load_sheet(path: Path, kind: Literal["reference-tape"]) -> ReferenceTape: ...
@overload
def load_sheet(path: Path, kind: Literal["interface"]) -> Interface: ...
@overload
def load_sheet(path: Path, kind: Literal["fault"]) -> Fault: ...
@overload
def load_sheet(path: Path, kind: Literal["exercise"]) -> Exercise: ...
def load_sheet(path: Path, kind: SheetKind) -> SheetBase:
    """Load a sheet of a kind.

    Raises:
        Problem: the first mistake of the file, and how many more there are.
    """
    sheet: SheetBase = read_sheet(path, kind).whole()
    return sheet


def _version(data: dict[str, Any]) -> list[Mistake]:
    """Check the format first: a newer file must not be judged by the present rules."""
    said = data.get("format")
    if type(said) is int and said == FORMAT:
        return []
    if said is None:
        return [Mistake(("format",), "missing", f"begin the file with `format = {FORMAT}`")]
    if type(said) is int and said > FORMAT:
        return [
            Mistake(
                ("format",),
                f"{said} is newer than this program reads",
                f"update tapebench, or write it for format {FORMAT}",
            )
        ]
    what = f"must be {FORMAT}, not {said if type(said) in {int, float} else kind_of(said)}"
    return [Mistake(("format",), what, f"begin the file with `format = {FORMAT}`")]


def _sheet_kind(said: object, kind: SheetKind) -> list[Mistake]:
    if said == kind:
        return []
    what = "missing" if said is None else f'must be "{kind}", not {quoted(said)}'
    return [Mistake(("sheet",), what, f'write `sheet = "{kind}"`, or keep the file in its own folder')]


def _fit(model: type[Model], data: dict[str, Any]) -> tuple[Model | None, list[Mistake]]:
    mistakes = hidden_text(data)
    try:
        return model.model_validate(data), mistakes
    except ValidationError as error:
        errors = error.errors(include_url=False)
        return None, mistakes + from_validator(data, errors, lambda at: keys_at(model, data, at))


def _own_recording(mistake: Mistake) -> Mistake:
    """Explain a quantity that a `record-replay` step cannot give."""
    if mistake.at[0] == "step" and mistake.at[2:] == ("targets", "speed_error"):
        return Mistake(mistake.at, "speed cannot be judged from tones that are sent", AGREES)
    return mistake


@cache
def _schema(model: type[Strict]) -> dict[str, Any]:
    schema: dict[str, Any] = model.model_json_schema()
    return schema


def keys_at(model: type[Strict], data: Any, at: KeyPath) -> list[str]:
    """Keys that a model has at a place of a file."""
    schema = _schema(model)
    node, here = schema, data
    for part in at:
        node = _resolved(node, here, schema)
        if isinstance(part, int):
            node = node.get("items", {})
        else:
            node = node.get("properties", {}).get(part) or node.get("additionalProperties") or {}
        here = here[part]
    return list(_resolved(node, here, schema).get("properties", {}))


def _resolved(node: Any, here: Any, schema: dict[str, Any]) -> dict[str, Any]:
    """Follow references, and choose from a union by the kind in the file."""
    node = node if isinstance(node, dict) else {}
    mapping = node.get("discriminator", {}).get("mapping")
    if mapping:
        kind = here.get("kind") if isinstance(here, dict) else None
        node = {"$ref": mapping[kind]} if kind in mapping else {}
    while "$ref" in node:
        node = schema["$defs"][node["$ref"].rsplit("/", 1)[1]]
    return dict(node)


def _ids(data: dict[str, Any]) -> tuple[object, ...]:
    steps = data.get("step")
    if not isinstance(steps, tuple):
        return ()
    return tuple(step.get("id") if isinstance(step, dict) else None for step in steps)


_STEP: TypeAdapter[Step] = TypeAdapter(Step)


def _sound_steps(data: dict[str, Any], mistakes: list[Mistake]) -> tuple[Step | None, ...]:
    """Each step as far as it is understood, so that one mistake does not hide another.

    Refused keys are dropped and missing ones filled in; None where that does not help.
    """
    steps = data.get("step")
    if not isinstance(steps, tuple):
        return ()
    bad: dict[Any, set[KeyPath]] = {}
    for mistake in mistakes:
        if mistake.at[:1] == ("step",):
            bad.setdefault(mistake.at[1] if len(mistake.at) > 1 else None, set()).add(mistake.at[2:4])
    return tuple(_mended(step, n, bad.get(n, set())) for n, step in enumerate(steps))


def _mended(step: Any, index: int, bad: set[KeyPath]) -> Step | None:
    """A step without its mistakes; in a table only the wrong keys are dropped."""
    if not isinstance(step, dict):
        return None
    if bad:
        whole = {at[0] for at in bad if at and (len(at) == 1 or not isinstance(step.get(str(at[0])), dict))}
        step = {k: v for k, v in step.items() if k not in whole}
        for key, inner in (at for at in bad if len(at) == 2 and at[0] in step):
            step[str(key)] = {k: v for k, v in step[str(key)].items() if k != inner}
        fill = {"id": f"step-{index}", "title": "-", "do": "-", "accepts": "-"}
        step |= {str(k): fill[str(k)] for k in whole if k in fill}
    try:
        return _STEP.validate_python(step)
    except ValidationError:
        return None
