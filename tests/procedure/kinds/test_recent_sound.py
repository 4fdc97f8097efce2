"""The sound that a step heard."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from bench.audio.port import Block
from bench.procedure.kinds.recent_sound import RecentSound
from bench.procedure.state.journal import Sound

RATE = 1000


def block(start: int, frames: int, lost: int = 0) -> Block:
    return Block(np.arange(start, start + frames, dtype=float)[:, None] / 1e6, start, lost)


def heard(sound: Sound) -> NDArray[np.float32]:
    return np.concatenate(sound.blocks)


@given(lengths=st.lists(st.integers(1, 700), min_size=1, max_size=20))
def test_whatever_the_blocks_it_is_what_was_heard_or_its_end(lengths: list[int]) -> None:
    sound = RecentSound(RATE, tail_s=1.0)
    at = 0
    for frames in lengths:
        sound.add(block(at, frames))
        at += frames
    sound.add_readings(("r0001",))
    found = sound.finish()
    assert found is not None
    kept = len(heard(found))
    assert min(at, RATE) <= kept <= at
    assert kept < RATE + 700
    np.testing.assert_array_equal(heard(found)[:, 0], (np.arange(at - kept, at) / 1e6).astype(np.float32))


def test_what_was_heard_before_a_replay_was_found_is_let_go() -> None:
    sound = RecentSound(RATE)
    for at in range(0, 1000, 100):
        sound.add(block(at, 100))
    sound.drop_before(650)
    sound.add_readings(("r0001",))
    sound.drop_before(800)  # another replay of the same step: what a reading was taken from stays
    found = sound.finish()
    assert found is not None
    np.testing.assert_array_equal(heard(found)[:, 0], (np.arange(600, 1000) / 1e6).astype(np.float32))


def test_without_a_reading_nothing_is_kept() -> None:
    sound = RecentSound(RATE)
    sound.add_readings(("r0001",))  # of nothing that was heard
    sound.add(block(0, 10))
    assert sound.finish() is None


def test_a_pass_that_no_reading_came_from_is_let_go() -> None:
    """Two heads: what is heard while the machine records is not what is measured."""
    sound = RecentSound(RATE)
    sound.add(block(0, 100))
    sound.add(block(5000, 50))
    sound.add_readings(("r0001", "r0002"))
    sound.add(block(9000, 20))
    sound.add_readings(("r0003",))
    found = sound.finish()
    assert found is not None
    assert found.readings == ("r0001", "r0002", "r0003")
    assert len(heard(found)) == 70


def test_lost_frames_are_silence() -> None:
    sound = RecentSound(RATE)
    sound.add(block(0, 100))
    sound.add(block(130, 50, lost=30))
    sound.add_readings(("r0001",))
    found = sound.finish()
    assert found is not None
    assert len(heard(found)) == 180
    assert not heard(found)[100:130].any()
