"""The output buffer: sound is rendered ahead, so that the audio callback only fetches a finished block."""

from __future__ import annotations

import math
import threading

import numpy as np
from numpy.typing import NDArray

from bench.signals.source import Source

AHEAD_S = 1.0
"""Time rendered ahead: longer than garbage collection, a compilation or a slow disk can delay a thread."""
GUARD_BLOCKS = 3
"""Blocks that a change of source leaves unchanged, because the callback may be about to fetch them."""
FADE_S = 0.005
"""Raised-cosine fades where a source is cut or starts in its middle, to avoid clicks."""


class OutputBuffer:
    """A source cut into blocks, numbered from the start of the stream.

    The audio callback calls `take`, which never waits; the bench thread and the feeder call everything else.

    Args:
        sample_rate: frames per second.
        block: frames per block.
    """

    def __init__(self, sample_rate: int, block: int) -> None:
        self._rate = sample_rate
        self._block = block
        self._ahead = math.ceil(AHEAD_S * sample_rate / block)
        self._fade = round(FADE_S * sample_rate)
        self._fade_in = 0.5 - 0.5 * np.cos(np.pi * (np.arange(self._fade) + 1) / (self._fade + 1))
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._feeder: threading.Thread | None = None
        # The callback reads these two and writes `_next`; each is assigned in one operation.
        self._ready_blocks: dict[int, NDArray[np.float32]] = {}
        self._due_range: tuple[int, float] = (0, 0)
        self._next = 0
        # Access to these needs the lock.
        self._source: Source | None = None
        self._base = 0
        self._begins = 0
        self._fade_from = 0
        self._rendered_to = 0
        self._faded_out = False
        self.muted = False
        """While True, silence is sent instead of the source. May be set from any thread."""
        self.underruns = 0
        """Blocks that were not ready when they were due."""
        self.error: Exception | None = None
        """The exception that the source raised during rendering."""

    def take(self) -> NDArray[np.float32] | None:
        """The next block, shape (block, 2); None for silence."""
        k = self._next
        self._next = k + 1
        block = self._ready_blocks.pop(k, None)
        if block is None:
            first, end = self._due_range
            self.underruns += first <= k < end
        if not self.muted:
            self._faded_out = False
        elif block is not None and not self._faded_out:
            block = block.copy()
            block[: self._fade] *= self._fade_in[::-1, None].astype(np.float32)
            block[self._fade :] = 0.0
            self._faded_out = True
        else:
            block = None
        return block

    @property
    def sending(self) -> bool:
        """Whether there is a source."""
        return self._source is not None

    def begin(self, base: int) -> None:
        """Start a stream whose first block has this frame number. The present source continues."""
        with self._lock:
            never_began = self._begins >= self._base + self._next * self._block
            self._next = 0
            self._base = base
            if never_began:
                self._begins = base
            self._fade_from = max(base, self._begins)
            self._rendered_to = 0
            self._ready_blocks = {}
            self._due_range = self._fill(self._ready_blocks)
        if self._feeder is None:
            self._stop.clear()
            self._feeder = threading.Thread(target=self._feed, name="feeder", daemon=True)
            self._feeder.start()

    def end(self) -> None:
        """End the stream."""
        self._stop.set()
        if self._feeder is not None:
            self._feeder.join(1.0)
        self._feeder = None

    def send(self, source: Source | None) -> int:
        """Change to this source as soon as possible; the previous one fades out first.

        Returns:
            The frame at which the source's first frame goes out, or at which silence begins.
        """
        with self._lock:
            self._source, self.error = source, None
            while True:
                first = self._next + GUARD_BLOCKS
                ready = {} if self.muted else self._ready_blocks  # muted blocks must not sound later
                kept = {k: v for k, v in list(ready.items()) if k < first}
                tail = ready.get(first)
                self._begins = self._fade_from = self._base + first * self._block + self._fade
                self._rendered_to = first
                plan: dict[int, NDArray[np.float32]] = {}
                due = self._fill(plan)
                if tail is not None:
                    start = plan.setdefault(first, np.zeros((self._block, 2), dtype=np.float32))
                    start[: self._fade] += (self._fade_in[::-1, None] * tail[: self._fade]).astype(np.float32)
                self._ready_blocks, self._due_range = kept | plan, due
                if self._next <= first:
                    return self._begins

    def _feed(self) -> None:
        while not self._stop.wait(AHEAD_S / 10):
            with self._lock:
                self._fill(self._ready_blocks)

    def _fill(self, plan: dict[int, NDArray[np.float32]]) -> tuple[int, float]:
        """Render the missing blocks of the next second; return the range of blocks in which sound is due."""
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
            except Exception as error:
                self.error, self._source = error, None
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
            sound[: len(at)] *= self._fade_gain(at)[:, None]
        out[silent:] = sound
        return out

    def _fade_gain(self, at: NDArray[np.int64]) -> NDArray[np.float64]:
        return np.where(at < 0, 0.0, self._fade_in[np.clip(at, 0, self._fade - 1)])
