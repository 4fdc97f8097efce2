"""`tapebench debriefs`: the results of a class's exercises, one line each."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from bench.problem import Problem
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Debriefed
from bench.session.record.paths import FILE_NAME
from bench.session.record.reader import read_session
from bench.session.record.record import SessionRecord
from bench.session.report.debrief_text import debrief_lines, time_spent
from bench.workspace import find_workspace

STATES = ("mended", "hidden", "found", "missed")
"""What may have become of a fault."""


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
    """Print a line for each exercise, and a sentence for each session that can't be read."""
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
        if session.job.exercise is not None:
            rows.append(_row(session))
    if args.json:
        print(json.dumps({"debriefs": rows, "broken": broken}, ensure_ascii=False))
        return 0
    for row in rows:
        print(_line(row))
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


def _row(session: SessionRecord) -> dict[str, object]:
    debrief = next(of_kind(session.events, Debriefed), None)
    states: list[str] = [fault.state for fault in debrief.faults] if debrief else []
    return {
        "session": session.folder.name,
        "trainee": session.job.trainee,
        "procedure": session.job.procedure,
        "machine": session.job.machine,
        "seed": session.job.seed,
        "over": debrief is not None,
        "hidden_faults": list(session.job.exercise or ()),
        **{state: states.count(state) for state in STATES},
        "named_wrongly": len(debrief.wrongly_named) if debrief else 0,
        "spent": time_spent(debrief) if debrief else "",
        "said": [text for _, text in debrief_lines(session.events)],
    }


def _line(row: dict[str, object]) -> str:
    who = row["trainee"] or "somebody"
    head = f"{row['session']}: {who}, {row['procedure']}, seed {row['seed']}"
    if not row["over"]:
        return f"{head}: not over yet"
    counts = ", ".join(f"{row[state]} {state}" for state in STATES)
    return f"{head}: {counts}, {row['named_wrongly']} named wrongly. {row['spent']}"
