"""`tapebench encode`: encodes a file, with errors added on request, for tests and check tapes."""

from __future__ import annotations

import argparse

from bench.commands.transfers.file import convert
from bench.commands.transfers.options import add_transfer


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    add_transfer(parser, decode=False)


def run(args: argparse.Namespace) -> int:
    """Write OUT and OUT.txt, and print the figures used; 1 where something is wrong with the file itself."""
    return convert(args, decode=False)
