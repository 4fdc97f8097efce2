"""The command line: selects the command and returns its exit code.

stdout is data, stderr is narration. Exit codes: 0 done; 1 done and something is out; 2 bad usage or input; 3 a fault of
the program; 130 interrupted.
"""

from __future__ import annotations

import argparse
import gc
import importlib
import os
import sys
from typing import NoReturn

from bench import __version__
from bench.crash import fault_words
from bench.problem import Problem
from bench.words.sentences import inert

COMMANDS = (
    "run",
    "rehearse",
    "measure",
    "tones",
    "tracking",
    "listen",
    "decode",
    "encode",
    "exercise",
    "debriefs",
    "validate",
    "report",
    "history",
    "compare",
    "diagnose",
    "interchange",
    "label",
    "ports",
)
"""Each is a module of `bench.commands` with `add(parser)` and `run(args) -> int`, imported only when named."""

HELP = {
    "run": "step through a procedure on a machine, a file or the practice machine",
    "rehearse": "run a procedure hands-off on the practice machine",
    "measure": "measure a quantity in a capture",
    "tones": "write tones to a file",
    "tracking": "show what noise reduction makes of an error of level and treble",
    "listen": "write what the owner hears from a machine to a file",
    "decode": "decode a transfer made with noise reduction out, with its errors taken off",
    "encode": "encode a file, for tests and check tapes",
    "exercise": "follow a procedure on a practice machine with hidden faults, then see the faults",
    "debriefs": "list exercises and first line-ups with their results",
    "validate": "list every problem in procedures and sheets",
    "report": "write a session's report again",
    "history": "the machines that were on the bench, and what one of them did over the years",
    "compare": "compare two sessions",
    "diagnose": "show what is wrong with a machine, how sure that is, and what to look at next",
    "interchange": "show how one machine's tape plays on another, and which machine is the odd one out",
    "label": "print the text of the sticker inside the lid",
    "ports": "list sound devices, or the reason why there are none",
}


COLLECT_EVERY = 50_000
"""Allocations before garbage collection runs; loading modules makes this many, and hardly any become garbage."""


class _Parser(argparse.ArgumentParser):
    """One line on stderr and exit 2 for bad usage."""

    def error(self, message: str) -> NoReturn:
        command = self.prog.removeprefix("tapebench").strip()
        raise Problem(f"{f'{command}: ' if command else ''}{message}; see {self.prog} --help")


def process() -> int:
    """Run `main` as the whole process, with less garbage collection, since memory is freed when the process ends."""
    gc.set_threshold(COLLECT_EVERY)
    try:
        return main()
    finally:
        gc.freeze()  # the system frees all memory at exit, so a last collection would be wasted


def main(argv: list[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    argv = sys.argv[1:] if argv is None else argv
    try:
        return _dispatch(argv)
    except Problem as problem:
        print(f"tapebench: {inert(problem.sentence)}", file=sys.stderr)
        return 2
    except KeyboardInterrupt as stopped:
        print("; ".join(["tapebench: interrupted", *getattr(stopped, "__notes__", ())]), file=sys.stderr)
        return 130
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as fault:
        print(f"tapebench: {fault_words(fault)}", file=sys.stderr)
        return 3


def _dispatch(argv: list[str]) -> int:
    named = next((a for a in argv if not a.startswith("-")), None)
    parser = _Parser(prog="tapebench", description="Lines up tape recorders: a bench companion.")
    parser.add_argument("--version", action="version", version=f"tapebench {__version__}")
    parser.add_argument("--workspace", metavar="DIR", help="folder that holds procedures/ and sessions/")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    # When the first argument is a command, no other parser is needed.
    for name in (argv[0],) if argv[:1] and argv[0] in COMMANDS else COMMANDS:
        sub = commands.add_parser(name, help=HELP[name], description=HELP[name])
        if name == named or name in argv:
            importlib.import_module(f"bench.commands.{name}").add(sub)
    args = parser.parse_args(argv)
    if args.command is None:
        return int(importlib.import_module("bench.tui.start").start(args.workspace))
    return int(importlib.import_module(f"bench.commands.{args.command}").run(args))


if __name__ == "__main__":
    sys.exit(process())
