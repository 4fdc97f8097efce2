"""`tapebench debriefs`: the exercises and first line-ups of a class, as a table."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from pathlib import Path

from bench.problem import Problem
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import (
    Answered,
    Waited,
)
from bench.procedure.state.exercise_events import Debriefed
from bench.session.record.paths import FILE_NAME
from bench.session.record.reader import read_session
from bench.session.record.record import SessionRecord
from bench.session.report.debrief_text import debrief_lines
from bench.training.debrief import minutes
from bench.workspace import find_workspace

COLUMNS = ("hidden", "named", "argued", "mended", "still there", "named wrongly", "timers cut", "answers", "minutes")
"""Columns with a figure; their names are also the keys of `--json`."""


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    parser.add_argument(
        "folders",
        nargs="*",
        metavar="SESSION|DIR",
        help="exercises, or folders that hold some (default: the workspace's sessions)",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object on stdout")


def run(args: argparse.Namespace) -> int:
    """Print a row for each exercise, and a sentence for each session that can't be read."""
    folders = [Path(f) for f in args.folders]
    if not folders:
        folders = [find_workspace(args.workspace).sessions]
    rows, broken = [], []
    for folder in _sessions(folders):
        try:
            session = read_session(folder)
        except Problem as problem:
            broken.append(problem.sentence)
            continue
        if session.job.exercise is not None or _answers(session):
            rows.append(_row(session))
    if args.json:
        print(json.dumps({"debriefs": rows, "broken": broken}, ensure_ascii=False))
        return 0
    for line in table(rows):
        print(line)
    for sentence in broken:
        print(f"not read: {sentence}")
    if not rows:
        print("There are no exercises here; tapebench exercise PROCEDURE makes one.")
    return 0


def _sessions(folders: list[Path]) -> list[Path]:
    out: list[Path] = []
    for folder in folders:
        if not folder.is_dir():
            raise Problem(f"{folder}: no such folder; name a session, or a folder that holds some")
        own = (folder / FILE_NAME).exists()
        out += [folder] if own else sorted(f.parent for f in folder.glob(f"*/{FILE_NAME}"))
    return out


def _answers(session: SessionRecord) -> list[bool]:
    """Whether the first answer to each question from the instructor was right."""
    first: dict[str, bool] = {}
    for answered in of_kind(session.events, Answered):
        if answered.right:
            first.setdefault(answered.step, answered.answer == answered.right)
    return list(first.values())


def _row(session: SessionRecord) -> dict[str, object]:
    """The facts of a session, without what is hidden in an exercise that is not over."""
    debrief = next(of_kind(session.events, Debriefed), None)
    answers = _answers(session)
    faults = debrief.faults if debrief else ()
    counts: dict[str, object] = {
        "hidden": len(faults),
        "named": sum(f.named for f in faults),
        "argued": sum(f.argued for f in faults),
        "mended": sum(f.state == "mended" for f in faults),
        "still there": sum(f.state != "mended" for f in faults),
        "named wrongly": len(debrief.wrongly_named) if debrief else 0,
    }
    is_exercise = session.job.exercise is not None
    return {
        "session": session.folder.name,
        "trainee": session.job.trainee,
        "procedure": session.job.procedure,
        "machine": session.job.machine,
        "seed": session.job.seed,
        "exercise": is_exercise,
        "over": debrief is not None if is_exercise else session.done,
        **(counts if debrief else dict.fromkeys(counts)),
        "timers cut": sum(w.seconds < w.of_s for w in of_kind(session.events, Waited)),
        "answers": f"{sum(answers)} of {len(answers)}" if answers else None,
        "minutes": round(minutes(session.events)),
        "faults": [{"name": f.name, "state": f.state, "named": f.named, "argued": f.argued} for f in faults],
        "said": [text for _, text in debrief_lines(session.events)],
    }


def table(rows: list[dict[str, object]]) -> list[str]:
    """The rows as lines, each column as wide as its widest cell."""
    if not rows:
        return []
    heads = ("session", "trainee", "job", *COLUMNS)
    cells = [heads, *(_cells(row) for row in rows)]
    widths = [max(len(line[n]) for line in cells) for n in range(len(heads))]
    out = []
    for line in cells:
        text = [c.ljust(w) if n < 3 else c.rjust(w) for n, (c, w) in enumerate(zip(line, widths, strict=True))]
        out.append("  ".join(text).rstrip())
    return out


def _cells(row: Mapping[str, object]) -> tuple[str, ...]:
    job = f"{row['procedure']}, machine {row['seed']}" if row["exercise"] else str(row["procedure"])
    over = "" if row["over"] else " (not over yet)"
    figures = ("–" if row[column] is None else str(row[column]) for column in COLUMNS)
    return (str(row["session"]), str(row["trainee"] or "–"), job + over, *figures)
