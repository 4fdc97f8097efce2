"""Moments of lost sound: the measurement in progress is spoilt and starts again, up to a limit."""

from __future__ import annotations

from typing import Any

from bench.audio.port import Block
from bench.procedure.kinds.activity import Activity
from bench.procedure.kinds.bench import Bench
from bench.procedure.model.job import JobStep
from bench.procedure.state.events import SoundLost
from bench.words.lost_sound import REMEDY, lost_text

MOST = 5
"""How often a step may start again; a computer that loses more sound must be put right first."""


class LostSound:
    """Counts the losses of a step.

    Args:
        bench: the bench of the run.
    """

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._step: JobStep | None = None
        self._times = 0
        self._expected = False

    def expected(self) -> None:
        """Ignore the next loss: a device was reopened, so the gap is known and dealt with."""
        self._expected = True

    def spoils(self, block: Block, activity: Activity[Any], step: JobStep | None) -> bool:
        """Whether the sound lost before a block spoilt the measurement, which then starts again with a notice."""
        known, self._expected = self._expected, False
        if not block.lost or known:
            return False
        self._times = self._times + 1 if step is self._step else 1
        self._step = step
        said = lost_text(block.lost, self._bench.port.status.sample_rate)
        if self._times > MOST:
            self._bench.notice = f"{said}, and {self._times} times in this step; {REMEDY}"
            return False
        if not activity.lost_sound():
            return False
        self._bench.notice = f"{said}: what was being measured is measured again"
        self._bench.note(step.id if step else "", SoundLost(said.removeprefix("sound was lost ")))
        return True
