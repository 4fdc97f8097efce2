"""The sound that a step heard."""

from __future__ import annotations

import io

import numpy as np
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from bench.audio.port import Block
from bench.procedure.kinds.recent_sound import PIECE_S, RecentSound
from bench.procedure.state.journal import Sound

RATE = 1000


def block(start: int, frames: int, lost: int = 0) -> Block:
    return Block(np.arange(start, start + frames, dtype=float)[:, None] / 2**23, start, lost)


def heard(sound: Sound) -> NDArray[np.int32]:
    """The values, in steps of 24 bits, which `block` derives from the frame number."""
    return np.asarray(soundfile.read(io.BytesIO(sound.flac), dtype="int32", always_2d=True)[0]) >> 8


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
    assert kept < RATE + PIECE_S * RATE + 700
    np.testing.assert_array_equal(heard(found)[:, 0], np.arange(at - kept, at))


def test_what_was_heard_before_a_replay_was_found_is_let_go() -> None:
    sound = RecentSound(RATE)
    piece = round(PIECE_S * RATE)
    for at in range(0, 5 * piece, 100):
        sound.add(block(at, 100))
    sound.drop_before(3 * piece + 50)
    sound.add_readings(("r0001",))
    sound.drop_before(4 * piece)  # another replay of the same step: the sound behind a reading stays
    found = sound.finish()
    assert found is not None
    np.testing.assert_array_equal(heard(found)[:, 0], np.arange(3 * piece, 5 * piece))


def test_without_a_reading_nothing_is_kept() -> None:
    sound = RecentSound(RATE)
    sound.add_readings(("r0001",))  # from sound that was not heard
    sound.add(block(0, 10))
    assert sound.finish() is None


def test_a_pass_that_no_reading_came_from_is_let_go() -> None:
    """Two heads: sound that comes in while the machine records is not measured."""
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
