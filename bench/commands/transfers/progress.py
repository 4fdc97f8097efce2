"""Progress through a long file, and the time left."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator

from bench.arrays import Floats
from bench.audio.capture import Capture


class Progress:
    """Prints progress through a long file and the time left, only on a terminal.

    Args:
        what: the activity: "decoding".
        seconds: total length of the sound.
        now: the clock at the start, s.
    """

    EVERY_S = 1.0

    def __init__(self, what: str, seconds: float, now: float) -> None:
        self._what, self._seconds, self._began, self._next = what, seconds, now, now + self.EVERY_S
        self._shown = False

    def at(self, done_s: float, now: float) -> str:
        """The line to show; "" for none yet.

        Args:
            done_s: seconds of sound already processed.
            now: the clock, s.
        """
        if now < self._next or not done_s > 0:
            return ""
        self._next = now + self.EVERY_S
        share = min(1.0, done_s / self._seconds)
        left_s = (now - self._began) * (1 / share - 1)
        return f"{self._what}: {100 * share:.0f} %, {left_s // 60:.0f}:{left_s % 60:02.0f} left"

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, *_: object) -> None:
        self.end()

    def through(self, capture: Capture) -> Iterator[Floats]:
        """The blocks of a capture; the line is updated after each."""
        frames = 0
        for block in capture.blocks():
            yield block
            frames += len(block)
            self.show(frames / capture.sample_rate, time.monotonic())

    def show(self, done_s: float, now: float) -> None:
        """Write that line over the last one."""
        said = self.at(done_s, now)
        if said and sys.stderr.isatty():
            print(f"\r{said:<40}", end="", file=sys.stderr, flush=True)
            self._shown = True

    def end(self) -> None:
        """Clear the line."""
        if self._shown:
            print(f"\r{'':40}\r", end="", file=sys.stderr, flush=True)
