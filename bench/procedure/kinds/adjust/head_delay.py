"""The delay from the recording head to the replay head, from a start mark ahead of continuous tones."""

from __future__ import annotations

from bench.audio.port import Block
from bench.procedure.kinds.record.mark_search import MarkSearch

SEARCH_S = 6.0
"""Longest search for the start mark."""


class HeadDelay:
    """Looks for a start mark in the incoming sound, and keeps its delay.

    Args:
        seconds: the delay, where no mark is sent but it is known; None where it is not.
    """

    def __init__(self, seconds: float | None = None) -> None:
        self.seconds = seconds
        self._sent_at = 0
        self._search: MarkSearch | None = None

    def expect(self, sent_at: int, rate: int) -> None:
        """Look for a mark that was sent at this frame, at a sample rate."""
        self._sent_at, self._search = sent_at, MarkSearch(rate, not_before=sent_at)

    def give_up(self) -> None:
        """Stop looking."""
        self._search = None

    def hear(self, block: Block) -> None:
        """Take in a block of sound."""
        if self._search is None:
            return
        found = self._search.hear(block)
        if found is not None:
            self.seconds = (found.begins - self._sent_at) / self._search.rate
        if found is not None or block.start > self._sent_at + SEARCH_S * self._search.rate:
            self.give_up()
