"""The delay from the recording head to the replay head, from a start mark ahead of continuous tones."""

from __future__ import annotations

import numpy as np

from bench.audio.port import Block, Samples
from bench.signals.start_mark import START_MARK_S, find_start_mark

SEARCH_S = 6.0
"""Longest search for the start mark."""


class HeadDelay:
    """Looks for a start mark in the incoming sound, and keeps its delay.

    Args:
        seconds: the delay, where no mark is sent but it is known; None where it is not.
    """

    def __init__(self, seconds: float | None = None) -> None:
        self.seconds = seconds
        self._sent_at: int | None = None
        self._from = 0
        self._sound: list[Samples] = []

    def expect(self, sent_at: int | None) -> None:
        """Look for a mark that was sent at this frame; None to stop looking."""
        self._sent_at, self._sound = sent_at, []

    def hear(self, block: Block, rate: int) -> None:
        """Look for the mark, at a sample rate."""
        if self._sent_at is None:
            return
        if not self._sound:
            self._from = block.start
        self._sound.append(block.samples)
        if block.start < self._sent_at + round((START_MARK_S + 1.0) * rate):
            return
        found = find_start_mark(np.concatenate(self._sound), rate)
        if found is not None:
            self.seconds = (self._from + found[0] - self._sent_at) / rate
        if found is not None or block.start > self._sent_at + SEARCH_S * rate:
            self.expect(None)
