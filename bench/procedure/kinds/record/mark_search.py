"""The search for a start mark in incoming sound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench.audio.port import Block, Samples
from bench.signals.start_mark import START_MARK_S, find_start_mark

LOOK_S, LOOK_EVERY_S = 4.0, 1.0
"""Length of sound that is searched for the mark, and time between searches; the mark takes 1.1 s."""


@dataclass(frozen=True, slots=True)
class FoundMark:
    """A start mark in the sound of the last seconds."""

    begins: int
    """The port's number of its first frame."""
    speed: float
    """Speed of the replay relative to the recording."""
    sound: Samples
    sound_from: int
    """The port's number of the first frame of `sound`."""


class MarkSearch:
    """Keeps the last seconds of sound, and looks for a whole start mark in them.

    Args:
        rate: frames a second.
    """

    def __init__(self, rate: int) -> None:
        self.rate = rate
        self._kept: list[Samples] = []
        self._kept_from = self._looked = 0

    def hear(self, block: Block) -> FoundMark | None:
        """Take in a block; returns the mark when it is found. Lost sound begins the search again."""
        if not self._kept:
            self._kept_from = self._looked = block.start
        if block.lost:
            self._kept, self._kept_from = [], block.start
        self._kept.append(block.samples)
        now = block.start + len(block.samples)
        if now - self._looked < LOOK_EVERY_S * self.rate:
            return None
        self._looked = now
        sound = np.concatenate(self._kept)
        found = find_start_mark(sound, self.rate)
        if found is not None and found[0] + START_MARK_S / found[1] * self.rate <= len(sound):
            return FoundMark(self._kept_from + found[0], found[1], sound, self._kept_from)
        drop = max(0, len(sound) - round(LOOK_S * self.rate))
        self._kept, self._kept_from = [sound[drop:]], self._kept_from + drop
        return None
