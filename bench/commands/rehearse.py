"""`tapebench rehearse`: a procedure run unattended on the practice machine."""

from __future__ import annotations

import argparse
from dataclasses import replace
from datetime import UTC, datetime

from bench.clock import RehearsalClock
from bench.commands.report import session_folder
from bench.commands.run_options import add_sheets, narrate, run_and_report, run_request
from bench.open_run import open_run
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse, target_answers
from bench.workspace import find_workspace


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    add_sheets(parser)
    parser.add_argument("--fault", action="append", default=[], metavar="SHEET", help="give the machine a fault")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="which practice machine (default 1)")
    parser.add_argument(
        "--override", default="", metavar="REASON", help="why the reference tape may meet an uncleaned machine"
    )
    parser.add_argument(
        "--after", metavar="SESSION", help="begin with the trimmers where a session on the same machine left them"
    )
    parser.add_argument(
        "--date", type=_day, metavar="YYYY-MM-DD", help="the day on which it is, from ten o'clock (now)"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object on stdout")


def run(args: argparse.Namespace) -> int:
    """Rehearse, write the report, print the outcome."""
    workspace = find_workspace(args.workspace)
    clock = RehearsalClock(args.date)
    asked = run_request(args, "practice")
    if args.after is not None:
        asked = replace(asked, after=session_folder(args.after, args.workspace))
    opened = open_run(workspace, asked, clock, real_time=False, say=narrate)
    hands = UnattendedHands(answers=target_answers(opened.job), override=args.override)
    return run_and_report(opened, lambda: rehearse(opened.runner, opened.port, clock, hands), as_json=args.json)


def _day(text: str) -> datetime:
    try:
        return datetime.strptime(text, "%Y-%m-%d").replace(hour=10, tzinfo=UTC)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no day such as 2026-05-03") from None
