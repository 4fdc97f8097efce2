"""How many keys and minutes a whole job takes of somebody who turns as proposed and lets proof steps run on."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.clock import RehearsalClock
from bench.open_run import open_run
from bench.run_request import RunRequest
from bench.training.rehearse import rehearse, target_answers
from bench.workspace import Workspace
from tests.smooth import smooth_procedures
from tests.tui.keyboard import CountedHands

MOST = {"open-reel-nab": 300, "quick-check": 110, "noise-reduction-itself": 60}
"""With every line of a checklist ticked by its key, and a reason typed for each reading that is out. A choice."""
WORDS = {
    "book-in/complaint": "dull on the left",
    "book-in/hours": "900",
    "book-in/reel-format": "two-track",
    "sign-off/next-due": "in a year",
    "sign-off/sign": "A. Tester",
    "tape": "dull",
    "sign": "A. Tester",
}
"""What is typed at steps that ask for words."""
MOST_FOR_BIAS = 40
"""Of both channels."""


@pytest.mark.long
@pytest.mark.parametrize("procedure", MOST)
def test_a_whole_job_takes_few_keys(tmp_path: Path, procedure: str) -> None:
    smooth_procedures(tmp_path / "procedures")
    clock = RehearsalClock()
    opened = open_run(Workspace(tmp_path), RunRequest(procedure), clock, real_time=False)
    hands = CountedHands(answers=target_answers(opened.job) | WORDS, override="a rehearsal")
    rehearse(opened.runner, opened.port, clock, hands)
    opened.store.close()
    keys = hands.keys
    print(f"{procedure}: {keys.pressed} keys, {clock.now() / 60:.0f} minutes; {keys.by_step.most_common(25)}")
    assert keys.pressed < MOST[procedure]
    assert sum(n for step, n in keys.by_step.items() if step.rpartition("/")[2].startswith("bias")) < MOST_FOR_BIAS
