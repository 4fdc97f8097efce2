"""`tapebench run`: runs a procedure on a machine, the practice machine or a capture."""

from __future__ import annotations

import argparse
import sys

from bench.clock import RealClock
from bench.commands.report import session_folder
from bench.commands.run_options import add_sheets, narrate, run_and_report, run_as_text, run_request
from bench.open_run import OpenRun, open_run, resume_run
from bench.procedure.state.snapshot import Outcome
from bench.workspace import Workspace, find_workspace


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    add_sheets(parser)
    parser.add_argument(
        "--port",
        default=None,
        metavar="practice|live|FILE",
        help="where sound comes from and goes to (default practice; live:NAME picks a device)",
    )
    parser.add_argument(
        "--fault", action="append", default=[], metavar="SHEET", help="give the practice machine a fault"
    )
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="which practice machine (default 1)")
    parser.add_argument("--resume", metavar="SESSION", help="go on with a session that was broken off")
    parser.add_argument("--plain", action="store_true", help="lines of text instead of the full screen")
    parser.add_argument("--learning", action="store_true", help="why is open at every step; hints used are noted")
    parser.add_argument("--json", action="store_true", help="on a capture: one JSON object on stdout")


def run(args: argparse.Namespace) -> int:
    """Open the run on the screen or as text; on a capture, run it unattended."""
    workspace = find_workspace(args.workspace)
    on_file = args.port is not None and args.port.partition(":")[0] not in ("practice", "live")
    if not on_file and not args.plain and sys.stdin.isatty() and sys.stdout.isatty():
        from bench.tui.start import start_run

        return start_run(
            workspace,
            session_folder(args.resume, args.workspace) if args.resume else run_request(args, args.port or "practice"),
            learning=args.learning,
        )
    clock = RealClock()
    opened = _open(args, workspace, clock)
    return run_and_report(
        opened,
        lambda: _hands_off(opened) if on_file else run_as_text(opened, learning=args.learning),
        as_json=args.json,
    )


def _open(args: argparse.Namespace, workspace: Workspace, clock: RealClock) -> OpenRun:
    if args.resume:
        return resume_run(
            session_folder(args.resume, args.workspace), clock, port=args.port, real_time=True, say=narrate
        )
    return open_run(workspace, run_request(args, args.port or "practice"), clock, real_time=True, say=narrate)


def _hands_off(opened: OpenRun) -> Outcome:
    from bench.training.capture_hands import NOBODY, CaptureHands
    from bench.training.rehearse import rehearse

    return rehearse(opened.runner, opened.port, opened.clock, CaptureHands(override=NOBODY))
