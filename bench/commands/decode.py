"""`tapebench decode`: corrects and decodes a transfer that was made with noise reduction out."""

from __future__ import annotations

import argparse

from bench.commands.transfers.file import convert
from bench.commands.transfers.options import add_transfer


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    add_transfer(parser, decode=True)


def run(args: argparse.Namespace) -> int:
    """Write OUT and OUT.txt, and print the figures used; 1 where something is wrong with the capture itself."""
    return convert(args, decode=True)
