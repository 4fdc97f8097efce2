"""Time, injected, so that a warm-up of half an hour rehearses at once."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """What time it is, and how to wait."""

    def now(self) -> float:
        """Seconds that only ever go forward, from any start."""

    def wall(self) -> datetime:
        """Date and time of day, with its zone."""

    def wait(self, seconds: float) -> None:
        """Let so much time go by."""


class RealClock:
    """The machine's own clock."""

    def now(self) -> float:
        """Monotonic seconds."""
        return time.monotonic()

    def wall(self) -> datetime:
        """Local date and time with its zone."""
        return datetime.now(UTC).astimezone()

    def wait(self, seconds: float) -> None:
        """Sleep."""
        time.sleep(max(0.0, seconds))


class RehearsalClock:
    """A clock that goes only when told to: by waiting, or by the practice machine as it makes sound."""

    def __init__(self, start: datetime | None = None) -> None:
        self._start = start or datetime.now(UTC).astimezone().replace(microsecond=0)
        self._now = 0.0

    def now(self) -> float:
        """Seconds rehearsed so far."""
        return self._now

    def wall(self) -> datetime:
        """The start plus what was rehearsed."""
        return self._start + timedelta(seconds=self._now)

    def wait(self, seconds: float) -> None:
        """Time has gone by."""
        self._now += max(0.0, seconds)
