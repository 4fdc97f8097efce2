"""The incoming sound is monitored at every step."""

from __future__ import annotations

import numpy as np
import pytest

from bench.audio.port import Block
from bench.clock import RehearsalClock
from bench.procedure.run.input_monitor import InputMonitor


def hear(left_db: float, right_db: float, seconds: float, *, then: tuple[float, float] | None = None) -> InputMonitor:
    """These peak levels for a number of seconds, then others for a tenth of a second."""
    clock = RehearsalClock()
    sound = InputMonitor(clock)
    levels = [(left_db, right_db)] * round(seconds / 0.1) + ([then] if then else [])
    for left, right in levels:
        sound.hear(Block(np.full((4800, 2), 1.0) * [10 ** (left / 20), 10 ** (right / 20)], 0))
        clock.wait(0.1)
    return sound


@pytest.mark.parametrize(
    ("left_db", "right_db", "only"),
    [(-12.0, -60.0, "left"), (-60.0, -12.0, "right"), (-12.0, -40.0, ""), (-12.0, -12.0, ""), (-90.0, -140.0, "")],
)
def test_the_one_channel_that_carries_sound(left_db: float, right_db: float, only: str) -> None:
    assert hear(left_db, right_db, 1.5).only() == only


def test_it_takes_a_second_and_is_over_at_once() -> None:
    assert hear(-12.0, -60.0, 0.8).only() == ""
    assert hear(-12.0, -60.0, 1.5, then=(-12.0, -20.0)).only() == ""


def test_one_channel_alone_has_no_other() -> None:
    clock = RehearsalClock()
    sound = InputMonitor(clock)
    for _ in range(20):
        sound.hear(Block(np.full((4800, 1), 0.1), 0))
        clock.wait(0.1)
    assert sound.only() == ""


def test_clipping_and_silence_are_told_for_a_second() -> None:
    clipped = hear(0.0, -12.0, 0.1)
    assert clipped.state()[1:] == (True, False)
    assert hear(-90.0, -90.0, 1.5).state()[1:] == (False, True)


def test_lost_sound_is_told_for_some_seconds() -> None:
    clock = RehearsalClock()
    sound = InputMonitor(clock)
    sound.hear(Block(np.full((4800, 2), 0.1), 0))
    assert not sound.lost()
    sound.hear(Block(np.full((4800, 2), 0.1), 9600, lost=4800))
    clock.wait(4.0)
    assert sound.lost()
    clock.wait(2.0)
    assert not sound.lost()
