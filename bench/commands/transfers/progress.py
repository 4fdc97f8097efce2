"""How far a long file is, and how long it still takes."""

from __future__ import annotations

import sys


class Progress:
    """How far a long file is, with the time left, on a terminal only.

    Args:
        what: is done: "decoding".
        seconds: of sound in all.
        now: a clock, s.
    """

    EVERY_S = 1.0

    def __init__(self, what: str, seconds: float, now: float) -> None:
        self._what, self._seconds, self._began, self._next = what, seconds, now, now + self.EVERY_S
        self._shown = False

    def at(self, done_s: float, now: float) -> str:
        """The line to show now; "" for none yet.

        Args:
            done_s: seconds of sound that are done.
            now: the clock.
        """
        if now < self._next or not done_s > 0:
            return ""
        self._next = now + self.EVERY_S
        share = min(1.0, done_s / self._seconds)
        left_s = (now - self._began) * (1 / share - 1)
        return f"{self._what}: {100 * share:.0f} %, {left_s // 60:.0f}:{left_s % 60:02.0f} left"

    def show(self, done_s: float, now: float) -> None:
        """Write that line over the last one."""
        said = self.at(done_s, now)
        if said and sys.stderr.isatty():
            print(f"\r{said:<40}", end="", file=sys.stderr, flush=True)
            self._shown = True

    def end(self) -> None:
        """Clear it."""
        if self._shown:
            print(f"\r{'':40}\r", end="", file=sys.stderr, flush=True)
