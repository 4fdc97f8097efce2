"""Opens the full screen and restores the terminal afterwards."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from bench.audio.standard_error import stderr_to_file
from bench.problem import Problem
from bench.tui.app import BenchApp
from bench.tui.preferences import Preferences, user_preferences
from bench.workspace import Workspace, find_workspace

if TYPE_CHECKING:
    from textual.screen import Screen

    from bench.run_request import RunRequest


def start(workspace: str | None) -> int:
    """The chooser; returns the exit code.

    Raises:
        Problem: there is no usable workspace, or no terminal.
    """
    from bench.tui.screens.chooser import ChooserScreen

    where = find_workspace(workspace)
    preferences = user_preferences()
    return _show(ChooserScreen(where, preferences), preferences)


def start_run(workspace: Workspace, start: RunRequest | Path, *, learning: bool = False) -> int:
    """One job, without the chooser; returns its exit code.

    Args:
        workspace: where procedures and sessions are.
        start: the request for a new run, or the folder of a session to resume.
        learning: True for a trainee.

    Raises:
        Problem: it could not be opened.
    """
    from bench.tui.running_job import RunningJob
    from bench.tui.screens.bench import BenchScreen

    screen = BenchScreen(RunningJob(workspace, start, learning=learning))
    code = _show(screen, user_preferences())
    if screen.refusal:
        raise Problem(screen.refusal)
    return screen.exit_code if code == 0 else code


def _show(screen: Screen[str], preferences: Preferences) -> int:
    import sys

    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise Problem("the full screen needs a terminal; see tapebench --help for what works without one")
    app = BenchApp(screen, preferences)
    with tempfile.TemporaryDirectory(prefix="tapebench-") as scratch, stderr_to_file(Path(scratch) / "chatter.txt"):
        code = app.run()
        if app.close_late is not None:
            app.close_late(lambda line: print(f"tapebench: {line}", file=sys.stderr, flush=True))
    if app.fault is not None:
        raise app.fault
    return code or 0
