"""`tapebench report`: writes a session's report again."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from bench.clock import RealClock
from bench.problem import Problem
from bench.session.record.paths import FILE_NAME
from bench.session.record.reader import read_session
from bench.workspace import find_workspace


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    parser.add_argument("session", metavar="SESSION", help="its folder, or the folder's name under sessions/")
    parser.add_argument("--note", action="append", default=[], metavar="TEXT", help="first add words to the session")
    parser.add_argument("--text", action="store_true", help="print it as plain text and write nothing")


def run(args: argparse.Namespace) -> int:
    """Write report.html and readings.csv again, or print the report as text."""
    folder = session_folder(args.session, args.workspace)
    if args.note:
        from bench.session.record.notes import add_notes

        add_notes(folder, args.note, RealClock())
    if args.text:
        from bench.session.report.plain_text import report_text

        sys.stdout.write(report_text(read_session(folder)))
        return 0
    from bench.session.report.report import write_report

    print(write_report(folder))
    return 0


def session_folder(session: str, workspace: str | None) -> Path:
    """The folder of a session, from its path, its `session.toml`, or its name."""
    path = Path(session)
    if path.name == FILE_NAME:
        return path.parent
    if path.is_dir() or path.is_file():
        return path
    sessions = find_workspace(workspace).sessions
    if (sessions / session).is_dir():
        return sessions / session
    raise Problem(f"{session}: no such session; sessions lie in {sessions}")
