"""What goes out, rendered ahead: the audio callback only fetches a block that is ready."""

from __future__ import annotations

import math
import threading

import numpy as np
from numpy.typing import NDArray

from bench.signals.source import Source

AHEAD_S = 1.0
"""How far ahead is rendered: longer than a garbage collection, a compilation or a slow disk holds a thread up."""
MARGIN = 3
"""Blocks left alone when the source changes, because the callback may be about to fetch them."""
FADE_S = 0.005
"""Raised-cosine fades where a source is cut or begun in its midst: no click."""


class Outgoing:
    """A source cut into blocks, each counted from the start of the stream.

    `take` is called by the audio callback and never waits; all else by the bench thread and the feeder.

    Args:
        sample_rate: frames a second.
        block: frames in a block.
    """

    def __init__(self, sample_rate: int, block: int) -> None:
        self._rate = sample_rate
        self._block = block
        self._ahead = math.ceil(AHEAD_S * sample_rate / block)
        self._fade = round(FADE_S * sample_rate)
        self._rising = 0.5 - 0.5 * np.cos(np.pi * (np.arange(self._fade) + 1) / (self._fade + 1))
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._feeder: threading.Thread | None = None
        # The callback reads these two and writes `_next`; each is set in one go.
        self._plan: dict[int, NDArray[np.float32]] = {}
        self._due: tuple[int, float] = (0, 0)
        self._next = 0
        # These are for whoever holds the lock.
        self._source: Source | None = None
        self._base = 0
        self._begins = 0
        self._fade_from = 0
        self._rendered_to = 0
        self.starved = 0
        """Blocks that were not ready when they were due."""
        self.fault: Exception | None = None
        """What the source raised while it was rendered ahead."""

    @property
    def taken(self) -> int:
        """Blocks fetched so far in this stream."""
        return self._next

    def take(self) -> NDArray[np.float32] | None:
        """The next block, shape (block, 2); None for silence."""
        k = self._next
        self._next = k + 1
        block = self._plan.pop(k, None)
        if block is None:
            first, end = self._due
            self.starved += first <= k < end
        return block

    def begin(self, base: int) -> None:
        """A stream starts, and its first block has this frame number. What was sent goes on in its own time."""
        with self._lock:
            never_began = self._begins >= self._base + self._next * self._block
            self._next = 0
            self._base = base
            if never_began:
                self._begins = base
            self._fade_from = max(base, self._begins)
            self._rendered_to = 0
            self._plan = {}
            self._due = self._fill(self._plan)
        if self._feeder is None:
            self._stop.clear()
            self._feeder = threading.Thread(target=self._feed, name="feeder", daemon=True)
            self._feeder.start()

    def end(self) -> None:
        """There will be no stream any more."""
        self._stop.set()
        if self._feeder is not None:
            self._feeder.join(1.0)
        self._feeder = None

    def send(self, source: Source | None) -> int:
        """Change to this source as soon as can be; what was sent before fades out first.

        Returns:
            The frame at which the source's frame 0 goes out, or at which silence begins.
        """
        with self._lock:
            self._source, self.fault = source, None
            while True:
                first = self._next + MARGIN
                kept = {k: v for k, v in list(self._plan.items()) if k < first}
                tail = self._plan.get(first)
                self._begins = self._fade_from = self._base + first * self._block + self._fade
                self._rendered_to = first
                plan: dict[int, NDArray[np.float32]] = {}
                due = self._fill(plan)
                if tail is not None:
                    start = plan.setdefault(first, np.zeros((self._block, 2), dtype=np.float32))
                    start[: self._fade] += (self._rising[::-1, None] * tail[: self._fade]).astype(np.float32)
                self._plan, self._due = kept | plan, due
                if self._next <= first:
                    return self._begins

    def _feed(self) -> None:
        while not self._stop.wait(AHEAD_S / 10):
            with self._lock:
                self._fill(self._plan)

    def _fill(self, plan: dict[int, NDArray[np.float32]]) -> tuple[int, float]:
        """Render what is missing of the next second; returns from which block to which sound is due."""
        first = max(self._rendered_to, self._next)
        if self._source is None:
            return first, first
        end: float = math.inf
        if self._source.frames is not None:
            end = math.ceil((self._begins + self._source.frames - self._base) / self._block)
        last = int(min(self._next + self._ahead, end))
        if first < last:
            try:
                samples = self._render(self._source, first, last - first)
            except Exception as fault:
                self.fault, self._source = fault, None
                return first, first
            for k in range(first, last):
                plan[k] = samples[(k - first) * self._block : (k - first + 1) * self._block]
            self._rendered_to = last
        return first, end

    def _render(self, source: Source, first: int, blocks: int) -> NDArray[np.float32]:
        out = np.zeros((blocks * self._block, 2), dtype=np.float32)
        start = self._base + first * self._block
        silent = max(0, self._begins - start)
        if silent >= len(out):
            return out
        sound = source.render(start + silent - self._begins, len(out) - silent)
        faded = max(0, self._fade_from + self._fade - (start + silent))
        if faded > 0:
            at = np.arange(start + silent, start + silent + min(faded, len(sound))) - self._fade_from
            sound = sound.copy()
            sound[: len(at)] *= self._gain(at)[:, None]
        out[silent:] = sound
        return out

    def _gain(self, at: NDArray[np.int64]) -> NDArray[np.float64]:
        return np.where(at < 0, 0.0, self._rising[np.clip(at, 0, self._fade - 1)])
