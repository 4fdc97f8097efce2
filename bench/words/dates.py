"""Dates, times of day and lengths of time."""

from __future__ import annotations

from datetime import date, datetime


def day(moment: date) -> str:
    """A date in words: "3 May 2026"."""
    return f"{moment.day} {moment:%B %Y}"


def month(moment: date) -> str:
    """A month, for a date that is not known to the day: "May 2026"."""
    return f"{moment:%B %Y}"


def stamp(moment: datetime) -> str:
    """Date and time of day for a column, all of the same width: "2026-05-03 09:07"."""
    return f"{moment:%Y-%m-%d %H:%M}"


def hour(moment: datetime) -> str:
    """The time of day."""
    return f"{moment:%H:%M}"


def clock(seconds: float) -> str:
    """Time left, as on a clock: "9:05"."""
    whole = max(0, round(seconds))
    return f"{whole // 60}:{whole % 60:02d}"


def duration(seconds: float) -> str:
    """A length of time: "40 s", "12 min", "1 h 30"."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    minutes = round(whole / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d}"
