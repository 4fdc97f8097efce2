"""Runs jobs one after another in one process, as on the screen; prints its peak memory in MB after each."""

from __future__ import annotations

import resource
import sys
from pathlib import Path

import bench.tui.app
from bench.clock import RehearsalClock
from bench.open_run import open_run
from bench.run_request import RunRequest
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse, target_answers
from bench.workspace import Workspace

assert bench.tui.app


def run(workspace: Workspace, procedure: str, *, evidence: bool) -> None:
    """Run one job, with its session and its report."""
    clock = RehearsalClock()
    opened = open_run(workspace, RunRequest(procedure, evidence=evidence), clock, real_time=False)
    hands = UnattendedHands(answers=target_answers(opened.job), override="a rehearsal")
    rehearse(opened.runner, opened.port, clock, hands)
    opened.store.close()
    from bench.session.report.report import write_report  # late, as the screen does: it loads matplotlib

    write_report(opened.store.folder)


if __name__ == "__main__":
    for name in sys.argv[2:]:
        run(Workspace(Path(sys.argv[1])), name, evidence=True)
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024, flush=True)
