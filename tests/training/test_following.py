"""Unattended hands that follow the diagnosis find a single fault that can be mended, and mend it."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.audio.practice import PracticePort
from bench.clock import RehearsalClock
from bench.commands.rehearse import following
from bench.open_run import open_run
from bench.run_request import RunRequest
from bench.training.rehearse import rehearse
from bench.workspace import Workspace
from tests.smooth import smooth_procedures

MENDABLE = {
    "dirty-head": {"dirt-replay-head"},
    "dirty-one-side": {"dirt-replay-head"},
    "dirty-record-head": {"dirt-record-head", "dirt-replay-head"},  # indistinguishable in recordings; both are cleaned
    "dirty-erase-head": {"dirty-erase-head"},
    "magnetised-head": {"magnetised-head"},
}
"""Fault sheets that cleaning or demagnetising mends, and the causes that are right for each."""


@pytest.mark.long
@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("fault", MENDABLE)
def test_a_fault_that_can_be_mended_is_found_and_mended(tmp_path: Path, fault: str, seed: int) -> None:
    smooth_procedures(tmp_path / "procedures")
    opened = open_run(
        Workspace(tmp_path), RunRequest("what-is-wrong", faults=(fault,), seed=seed), RehearsalClock(), real_time=False
    )
    hands = following(opened)
    rehearse(opened.runner, opened.port, opened.clock, hands)
    assert MENDABLE[fault] & set(hands.found)
    assert isinstance(opened.port, PracticePort)
    assert opened.port.machine.remaining_faults == ()
    opened.end()
