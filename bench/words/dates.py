"""Dates, times of day and lengths of time."""

from __future__ import annotations

from datetime import date, datetime


def day(moment: date) -> str:
    """A date as anybody reads it: "3 May 2026"."""
    return f"{moment.day} {moment:%B %Y}"


def month(moment: date) -> str:
    """A month, where the day is not known so well: "May 2026"."""
    return f"{moment:%B %Y}"


def stamp(moment: datetime) -> str:
    """Date and time of day in a column, where they are to line up: "2026-05-03 09:07"."""
    return f"{moment:%Y-%m-%d %H:%M}"


def hour(moment: datetime) -> str:
    """The time of day."""
    return f"{moment:%H:%M}"


def clock(seconds: float) -> str:
    """What is left, as a clock shows it: "9:05"."""
    whole = max(0, round(seconds))
    return f"{whole // 60}:{whole % 60:02d}"


def duration(seconds: float) -> str:
    """A length of time: "40 s", "12 min", "1 h 30"."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    minutes = round(whole / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d}"
