"""Clocks, passed in so that a rehearsal need not wait for a warm-up of half an hour."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """Gives the time, and waits."""

    def now(self) -> float:
        """Monotonic seconds, from an arbitrary start."""

    def wall(self) -> datetime:
        """Date and time of day, with time zone."""

    def wait(self, seconds: float) -> None:
        """Wait."""


class RealClock:
    """The computer's clock."""

    def now(self) -> float:
        """Monotonic seconds."""
        return time.monotonic()

    def wall(self) -> datetime:
        """Local date and time with time zone."""
        return datetime.now(UTC).astimezone()

    def wait(self, seconds: float) -> None:
        """Sleep."""
        time.sleep(max(0.0, seconds))


class RehearsalClock:
    """A clock that advances only by `wait`, which a practice machine calls as it makes sound."""

    def __init__(self, start: datetime | None = None) -> None:
        self._start = start or datetime.now(UTC).astimezone().replace(microsecond=0)
        self._now = 0.0

    def now(self) -> float:
        """Seconds of rehearsal so far."""
        return self._now

    def wall(self) -> datetime:
        """The start plus the seconds of rehearsal."""
        return self._start + timedelta(seconds=self._now)

    def wait(self, seconds: float) -> None:
        """Advance the clock at once."""
        self._now += max(0.0, seconds)
