"""The search for a start mark in incoming sound."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from bench.audio.port import Block, Samples
from bench.signals.start_mark import CHIRP_S, START_MARK_S, find_start_mark

EARLY_S = 0.02
"""How much earlier than it was sent a mark may seem to begin: the error of its position at another tape speed."""
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

    A weak erase head leaves the mark of an earlier recording on the tape, which is not the one looked for.

    Args:
        rate: frames a second.
        least_dbfs: a mark whose chirp is weaker than this in every channel is passed over, dB re a full-scale sine.
        not_before: the port's number of the first frame at which the mark can begin, because it is sent there.
    """

    def __init__(self, rate: int, least_dbfs: float = -math.inf, not_before: int = 0) -> None:
        self.rate = rate
        self._least_dbfs = least_dbfs
        self._not_before = not_before - round(EARLY_S * rate)
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
        sound, chirp = np.concatenate(self._kept), round(CHIRP_S * self.rate)
        while (found := find_start_mark(sound, self.rate)) is not None:
            begins, speed = found
            if begins + START_MARK_S / speed * self.rate > len(sound):
                break
            if self._kept_from + begins >= self._not_before and _dbfs(sound[begins:][:chirp]) >= self._least_dbfs:
                return FoundMark(self._kept_from + begins, speed, sound, self._kept_from)
            sound, self._kept_from = sound[begins + chirp :], self._kept_from + begins + chirp
        drop = max(0, len(sound) - round(LOOK_S * self.rate))
        self._kept, self._kept_from = [sound[drop:]], self._kept_from + drop
        return None


def _dbfs(samples: Samples) -> float:
    """Level of the stronger channel, dB re a full-scale sine (AES17)."""
    return float(10 * np.log10(2 * np.mean(samples**2, axis=0).max() + 1e-30))
