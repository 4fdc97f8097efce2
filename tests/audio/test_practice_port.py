"""The practice machine as a port."""

from __future__ import annotations

import numpy as np
import pytest

from bench.audio.port import Hands, hands_of
from bench.audio.practice import PracticePort
from bench.clock import RehearsalClock
from bench.problem import Problem
from bench.signals.source import Source
from tests.practice.deck import deck, level_dbfs, reference


class Tone:
    """A tone that never ends, and remembers the requests for samples."""

    frames = None
    description = "a tone"

    def __init__(self) -> None:
        self.asked: list[tuple[int, int]] = []

    def render(self, start: int, frames: int) -> np.ndarray:
        self.asked.append((start, frames))
        wave = 0.1 * np.sin(2 * np.pi * 400 / 48000 * (start + np.arange(frames)))
        return np.stack((wave, wave), axis=1)


def port(*, real_time: bool = False, clock: RehearsalClock | None = None, heads: int = 3) -> PracticePort:
    return PracticePort(deck(heads=heads), clock or RehearsalClock(), real_time=real_time)


def read(p: PracticePort, blocks: int) -> np.ndarray:
    out = []
    for _ in range(blocks):
        block = p.read(1.0)
        assert block is not None
        out.append(block.samples)
    return np.concatenate(out)


def test_it_has_hands() -> None:
    assert isinstance(port(), Hands)
    assert hands_of(port()) is not None


def test_a_rehearsal_clock_goes_on_with_the_sound() -> None:
    clock = RehearsalClock()
    p = port(clock=clock)
    p.open()
    read(p, 50)
    assert clock.now() == pytest.approx(1.0)


def test_blocks_follow_each_other() -> None:
    p = port()
    p.open()
    starts = [p.read(1.0).start for _ in range(3)]  # type: ignore[union-attr]
    assert starts == [0, 960, 1920]


def test_closed_it_gives_nothing() -> None:
    p = port()
    states: list[str] = [p.status.state]
    assert p.read(0.0) is None
    p.open()
    states.append(p.status.state)
    p.close()
    p.close()
    states.append(p.status.state)
    assert states == ["closed", "running", "closed"]
    assert p.read(0.0) is None


def test_paced_it_waits_until_the_block_is_due() -> None:
    clock = RehearsalClock()
    p = port(real_time=True, clock=clock)
    p.open()
    assert p.read(0.0) is None
    assert p.read(0.5) is not None
    assert clock.now() == pytest.approx(0.02)
    assert p.read(0.005) is None
    assert clock.now() == pytest.approx(0.025)


def test_paced_and_late_it_catches_up() -> None:
    clock = RehearsalClock()
    p = port(real_time=True, clock=clock)
    p.open()
    clock.wait(0.1)
    assert [p.read(0.0) is not None for _ in range(6)] == [True] * 5 + [False]


def test_what_is_sent_is_recorded_and_comes_back() -> None:
    p = port()
    p.open()
    p.load("work")
    p.switch("transport", "record")
    read(p, 3)
    asked = Tone()
    source: Source = asked
    assert p.send(source) == 3 * 960
    heard = read(p, 100)[48000:]
    assert asked.asked[:3] == [(0, 960), (960, 960), (1920, 960)]
    # Sent with an amplitude of 0.1 (-20 dBFS), on a correct machine: comes back as sent.
    assert level_dbfs(heard[:, 0], 400) == pytest.approx(-20.0, abs=0.1)
    p.send(None)
    assert level_dbfs(read(p, 100)[48000:, 0], 400) < -80


def test_hands_reach_the_machine() -> None:
    p = port()
    p.open()
    p.load("reference")
    p.rewind("level")
    p.switch("transport", "play")
    read(p, 10)
    before = level_dbfs(read(p, 50)[:, 0], reference().level_hz)
    p.turn("replay level left", 60.0)
    read(p, 10)
    after = level_dbfs(read(p, 50)[:, 0], reference().level_hz)
    assert abs(after - before) > 3
    with pytest.raises(Problem, match="there is no trimmer volume"):
        p.turn("volume", 1.0)
