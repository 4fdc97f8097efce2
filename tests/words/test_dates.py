from __future__ import annotations

from datetime import datetime

import pytest

from bench.words.dates import clock, day, duration, hour, month, stamp


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0.2, "0 s"), (40, "40 s"), (60, "1 min"), (4500, "1 h 15"), (3599, "1 h 00")],
)
def test_lengths_of_time(seconds: float, said: str) -> None:
    assert duration(seconds) == said


def test_what_is_left_as_a_clock_shows_it() -> None:
    assert clock(754.2) == "12:34"
    assert clock(-3) == "0:00"


def test_dates_and_times_of_day() -> None:
    moment = datetime(2026, 5, 3, 9, 7)  # noqa: DTZ001
    assert (day(moment), hour(moment)) == ("3 May 2026", "09:07")
    assert (month(moment), stamp(moment)) == ("May 2026", "2026-05-03 09:07")
