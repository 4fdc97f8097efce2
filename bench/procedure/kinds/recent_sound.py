"""Buffer for the sound of a step, so that its readings can be measured again later."""

from __future__ import annotations

from collections import deque

import numpy as np

from bench.audio.port import Block
from bench.procedure.state.journal import Sound

LONGEST_S = 300.0
"""Longest sound that is kept."""


class RecentSound:
    """Keeps the blocks that a step hears.

    Args:
        sample_rate: frames a second.
        tail_s: length that is kept; while a trimmer is turned only the end matters.
    """

    def __init__(self, sample_rate: int, tail_s: float = LONGEST_S) -> None:
        self._rate = sample_rate
        self._limit = round(min(tail_s, LONGEST_S) * sample_rate)
        self._blocks: deque[np.ndarray] = deque()
        self._frames = 0
        self._next = -1
        self._readings: list[str] = []

    def add(self, block: Block) -> None:
        """Add a block; lost frames become silence. After a pass without a reading the buffer begins again."""
        passed = self._next >= 0 and block.start - block.lost > self._next
        if passed and not self._readings:
            self._blocks.clear()
            self._frames = 0
        elif block.lost and self._blocks:
            self._add(np.zeros((block.lost, block.samples.shape[1]), dtype=np.float32))
        self._next = block.start + len(block.samples)
        self._add(block.samples.astype(np.float32))

    def add_readings(self, readings: tuple[str, ...]) -> None:
        """Note the ids of readings taken from the sound so far."""
        if self._blocks:
            self._readings += readings

    def drop_before(self, frame: int) -> None:
        """Drop the sound before a frame, unless a reading was taken from it."""
        while self._blocks and not self._readings and self._next - self._frames + len(self._blocks[0]) <= frame:
            self._frames -= len(self._blocks.popleft())

    def finish(self) -> Sound | None:
        """The sound of the step, which is over; None without a reading."""
        if not self._readings:
            return None
        return Sound(tuple(self._blocks), self._rate, tuple(self._readings))

    def _add(self, samples: np.ndarray) -> None:
        self._blocks.append(samples)
        self._frames += len(samples)
        while self._frames - len(self._blocks[0]) >= self._limit:
            self._frames -= len(self._blocks.popleft())
