"""`tapebench run`: a procedure, on a machine, the practice machine or a capture."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from bench.clock import RealClock
from bench.commands.run_options import add_sheets, as_text, carry_out, narrate, wanted
from bench.open_run import Opened, open_run, resume_run
from bench.problem import Problem
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
    parser.add_argument("--learning", action="store_true", help="why stands open at every step, hints are noted")
    parser.add_argument("--json", action="store_true", help="on a capture: one JSON object on stdout")


def run(args: argparse.Namespace) -> int:
    """Open the run on the screen, as text, or hands-off where the sound is a capture."""
    workspace = find_workspace(Path(args.workspace) if args.workspace else None)
    on_file = args.port is not None and args.port.partition(":")[0] not in ("practice", "live")
    if not on_file and not args.plain and sys.stdin.isatty() and sys.stdout.isatty():
        from bench.tui.start import start_run

        return start_run(
            workspace,
            None if args.resume else wanted(args, port=args.port or "practice"),
            _folder(args, workspace),
            learning=args.learning,
        )
    clock = RealClock()
    opened = _open(args, workspace, clock)
    return carry_out(
        opened,
        lambda: _hands_off(opened) if on_file else as_text(opened, learning=args.learning),
        as_json=args.json,
    )


def _folder(args: argparse.Namespace, workspace: Workspace) -> Path | None:
    if not args.resume:
        return None
    for folder in (Path(args.resume), workspace.sessions / args.resume):
        if folder.is_dir():
            return folder
    raise Problem(f"{args.resume}: no such session; sessions lie in {workspace.sessions}")


def _open(args: argparse.Namespace, workspace: Workspace, clock: RealClock) -> Opened:
    folder = _folder(args, workspace)
    if folder is not None:
        return resume_run(folder, clock, port=args.port, real_time=True, say=narrate)
    return open_run(workspace, wanted(args, port=args.port or "practice"), clock, real_time=True, say=narrate)


def _hands_off(opened: Opened) -> Outcome:
    from bench.training.hands import UnattendedHands
    from bench.training.rehearse import rehearse

    return rehearse(opened.runner, opened.port, opened.clock, UnattendedHands())
