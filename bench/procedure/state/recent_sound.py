"""The sound that a step heard, held until it is over: what its readings were taken from, to be measured again."""

from __future__ import annotations

from collections import deque

import numpy as np

from bench.audio.port import Block
from bench.procedure.state.journal import Sound

LONGEST_S = 300.0
"""What was heard before that is let go."""


class RecentSound:
    """Fed with the blocks that a step hears.

    Args:
        sample_rate: frames a second.
        tail_s: only so much is kept before the last block: where a trimmer is turned, only the end counts.
    """

    def __init__(self, sample_rate: int, tail_s: float = LONGEST_S) -> None:
        self._rate = sample_rate
        self._limit = round(min(tail_s, LONGEST_S) * sample_rate)
        self._blocks: deque[np.ndarray] = deque()
        self._frames = 0
        self._next = -1
        self._readings: list[str] = []

    def hear(self, block: Block) -> None:
        """A block; frames lost before it are silence. After a pass that no reading was taken from it begins anew."""
        passed = self._next >= 0 and block.start - block.lost > self._next
        if passed and not self._readings:
            self._blocks.clear()
            self._frames = 0
        elif block.lost and self._blocks:
            self._add(np.zeros((block.lost, block.samples.shape[1]), dtype=np.float32))
        self._next = block.start + len(block.samples)
        self._add(block.samples.astype(np.float32))

    def taken(self, readings: tuple[str, ...]) -> None:
        """Readings were taken from what was heard so far, by their ids."""
        if self._blocks:
            self._readings += readings

    def from_frame(self, frame: int) -> None:
        """What was heard before a frame belongs to no reading, unless one was taken already."""
        while self._blocks and not self._readings and self._next - self._frames + len(self._blocks[0]) <= frame:
            self._frames -= len(self._blocks.popleft())

    def over(self) -> Sound | None:
        """The step is over: what was heard, None where no reading was taken from it."""
        if not self._readings:
            return None
        return Sound(np.concatenate(self._blocks), self._rate, tuple(self._readings))

    def _add(self, samples: np.ndarray) -> None:
        self._blocks.append(samples)
        self._frames += len(samples)
        while self._frames - len(self._blocks[0]) >= self._limit:
            self._frames -= len(self._blocks.popleft())
