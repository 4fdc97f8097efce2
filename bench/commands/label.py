"""`tapebench label`: prints the text of the sticker inside the lid."""

from __future__ import annotations

import argparse

from bench.commands.history import add_interval
from bench.commands.report import session_folder


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    parser.add_argument("session", metavar="SESSION", help="its folder, or the folder's name under sessions/")
    add_interval(parser)


def run(args: argparse.Namespace) -> int:
    """Print the label."""
    from bench.session.report.label import label_lines

    print("\n".join(label_lines(session_folder(args.session, args.workspace), args.interval)))
    return 0
