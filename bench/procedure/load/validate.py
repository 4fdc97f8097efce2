"""Reports every mistake of several files at once."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from bench.problem import Problem
from bench.procedure.load.assemble import assemble
from bench.procedure.load.document import read_document
from bench.procedure.load.file_problems import Finding, Mistake, did_you_mean, kind_of, quoted
from bench.procedure.load.reader import SHEETS, SheetKind, read_sheet
from bench.workspace import Workspace


def files_in(paths: Sequence[Path]) -> list[Path]:
    """The named files; for a folder, all files below it; for a workspace, its procedures.

    Raises:
        Problem: something named does not exist, or a folder holds no TOML file.
    """
    missing = [str(p) for p in paths if not p.exists()]
    if missing:
        raise Problem(f"{', '.join(missing)}: no such file or folder; see the name")
    out: dict[Path, Path] = {}
    for path in paths:
        if not path.is_dir():
            out.setdefault(path.resolve(), path)
            continue
        folder = path / "procedures" if (path / "procedures").is_dir() else path
        inside = sorted(folder.rglob("*.toml"))
        if not inside:
            raise Problem(f"{path}: holds no .toml file; name a folder of procedures or sheets")
        for file in inside:
            out.setdefault(file.resolve(), file)
    return list(out.values())


def check_files(paths: Sequence[Path], workspace: Workspace) -> list[Finding]:
    """Every mistake in procedures and sheets.

    Args:
        paths: the files.
        workspace: it holds the sheets of a procedure, unless the folder of the procedure has `sheets/`.

    Returns:
        Every mistake once, in its own file, by file and line.
    """
    reported = frozenset(p.resolve() for p in paths)
    return [finding for path in paths for finding in _check(path, workspace, reported)]


def _check(path: Path, workspace: Workspace, reported: frozenset[Path]) -> list[Finding]:
    document = read_document(path)
    if isinstance(document, Finding):
        return [document]
    lies_in = {folder: kind for kind, (folder, _) in SHEETS.items()}.get(path.resolve().parent.name)
    said = document.data.get("sheet")
    if said is None and lies_in is None:
        return assemble(path, workspace, {}, reported=reported).findings
    kind = _kind(said)
    if said is not None and kind is None:
        return [document.finding(_unknown(said))]
    if kind is not None and lies_in is not None and lies_in != kind:
        where = f"a {kind} sheet lies in {SHEETS[lies_in][0]}/"
        return [document.finding(Mistake(("sheet",), where, f"move it to {SHEETS[kind][0]}/"))]
    wanted = kind or lies_in
    assert wanted is not None
    return read_sheet(path, wanted).findings


def _kind(said: object) -> SheetKind | None:
    return "reference-tape" if said == "reference-set" else next((kind for kind in SHEETS if kind == said), None)


def _unknown(said: object) -> Mistake:
    if not isinstance(said, str):
        return Mistake(("sheet",), f"must be text, not {kind_of(said)}", "write what kind of sheet it is, in quotes")
    return Mistake(("sheet",), f"{quoted(said)} is not a kind of sheet", did_you_mean(said, SHEETS))
