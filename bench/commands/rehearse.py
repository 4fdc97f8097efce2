"""`tapebench rehearse`: a procedure run unattended on the practice machine."""

from __future__ import annotations

import argparse
from dataclasses import replace
from datetime import UTC, datetime
from random import Random

from bench.audio.port import Visible
from bench.clock import RehearsalClock
from bench.commands.report import session_folder
from bench.commands.run_options import add_sheets, narrate, run_and_report, run_request
from bench.diagnosis.answer import Diagnosis
from bench.diagnosis.next_test import Possible
from bench.open_run import OpenRun, open_run
from bench.session.compare.diagnosis import diagnosis_of
from bench.session.record.reader import read_session
from bench.training.following import FollowingHands
from bench.training.hands import UnattendedHands
from bench.training.read_by_eye import Eye
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
    parser.add_argument(
        "--diagnose", action="store_true", help="ask what is wrong on the way, do the suggested tests, and repair it"
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
    hands = following(opened) if args.diagnose else UnattendedHands()
    hands.eye = Eye(Random(asked.seed))
    hands.answers, hands.override = target_answers(opened.job), args.override
    return run_and_report(opened, lambda: rehearse(opened.runner, opened.port, clock, hands), as_json=args.json)


def following(opened: OpenRun) -> FollowingHands:
    """Hands that follow the diagnosis of what the session holds so far."""

    def ask(possible: Possible) -> Diagnosis:
        return diagnosis_of(read_session(opened.store.folder), possible)[0]

    eyes = opened.port if isinstance(opened.port, Visible) else None
    return FollowingHands(ask=ask, steps=opened.job.steps, tape_type=opened.job.tape.iec_type, eyes=eyes)


def _day(text: str) -> datetime:
    try:
        return datetime.strptime(text, "%Y-%m-%d").replace(hour=10, tzinfo=UTC)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date such as 2026-05-03") from None
