"""The output, rendered ahead block by block, equals the source at any pace of the callback and any block size."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from bench.audio.output_buffer import AHEAD_S, FADE_S, GUARD_BLOCKS, OutputBuffer
from bench.signals.tones import SteadyTone, Tone, ToneSequence
from tests.cases import cases

RATE, BLOCK = 8000, 160
FADE = round(FADE_S * RATE)


class Ramp:
    """Each frame has its own value."""

    description = "ramp"

    def __init__(self, frames: int | None = None) -> None:
        self.frames = frames

    def render(self, start: int, frames: int) -> NDArray[np.float64]:
        n = np.arange(start, start + frames)
        assert start >= 0
        ramp = n / 2.0**20
        if self.frames is not None:
            ramp = np.where(n < self.frames, ramp, 0.0)
        return np.stack([ramp, -ramp], 1)


def taken(out: OutputBuffer, blocks: int) -> NDArray[np.float64]:
    got = [out.take() for _ in range(blocks)]
    return np.concatenate([np.zeros((0, 2)), *(np.zeros((BLOCK, 2)) if b is None else b for b in got)])


def without_feeder(base: int = 0) -> OutputBuffer:
    out = OutputBuffer(RATE, BLOCK)
    out.begin(base)
    out.end()
    return out


@given(st.integers(0, 10), st.integers(0, 3000), st.integers(0, 10**7))
def test_the_source_goes_out_frame_by_frame_from_where_it_is_said_to_begin(before: int, frames: int, base: int) -> None:
    out = without_feeder(base)
    taken(out, before)
    begins = out.send(Ramp(frames)) - base - before * BLOCK
    got = taken(out, 40)
    assert begins == GUARD_BLOCKS * BLOCK + FADE
    np.testing.assert_array_equal(got[:begins], 0.0)
    whole = Ramp(frames).render(0, len(got) - begins).astype(np.float32)
    np.testing.assert_array_equal(got[begins + FADE :], whole[FADE:])
    assert np.all(np.abs(got[begins : begins + FADE]) <= np.abs(whole[:FADE]))
    assert out.underruns == 0


@given(st.lists(st.tuples(st.integers(0, 8), st.floats(50, 200)), min_size=1, max_size=6))
@cases(50)
def test_no_change_of_source_makes_a_step(changes: list[tuple[int, float]]) -> None:
    out = without_feeder()
    got = []
    for wait, hz in changes:
        out.send(SteadyTone(Tone(hz, 0.0), RATE))
        got.append(taken(out, wait))
    out.send(None)
    got.append(taken(out, GUARD_BLOCKS + 2))
    sound = np.concatenate(got)[:, 0]
    # The largest step of a sine of 200 Hz between frames; a fade of 40 frames adds π/2/40.
    assert np.abs(np.diff(sound)).max() <= 2.0 * np.sin(np.pi * 200.0 / RATE) + np.pi / 2 / FADE
    np.testing.assert_array_equal(sound[-BLOCK:], 0.0)


def test_silence_comes_as_soon_as_can_be_although_a_second_was_rendered() -> None:
    out = without_feeder()
    out.send(SteadyTone(Tone(1000.0, 0.0), RATE))
    taken(out, 10)
    out.send(None)
    got = taken(out, 10)
    assert np.abs(got[: GUARD_BLOCKS * BLOCK]).max() > 0.9
    np.testing.assert_array_equal(got[GUARD_BLOCKS * BLOCK + FADE :], 0.0)
    assert out.underruns == 0


def test_muted_it_is_silent_from_the_next_block_on_without_a_click_and_lets_out_no_rest() -> None:
    out = without_feeder()
    out.send(SteadyTone(Tone(200.0, 0.0), RATE))
    sounding = taken(out, 10)
    out.muted = True
    got = taken(out, 5)
    both = np.concatenate([sounding, got])[:, 0]
    assert np.abs(np.diff(both)).max() <= 2.0 * np.sin(np.pi * 200.0 / RATE) + np.pi / 2 / FADE
    np.testing.assert_array_equal(got[FADE:], 0.0)
    out.send(SteadyTone(Tone(200.0, 0.0), RATE))
    np.testing.assert_array_equal(taken(out, 10), 0.0)
    out.send(None)
    out.muted = False
    np.testing.assert_array_equal(taken(out, 10), 0.0)
    out.send(SteadyTone(Tone(200.0, 0.0), RATE))
    assert np.abs(taken(out, 10)).max() > 0.9


def test_a_block_that_is_not_ready_is_counted() -> None:
    out = without_feeder()
    out.send(Ramp(None))
    taken(out, round(AHEAD_S * RATE / BLOCK) + 7)
    assert out.underruns == 7


def test_after_a_loss_the_source_goes_on_in_its_own_time() -> None:
    out = without_feeder()
    begins = out.send(Ramp(None))
    taken(out, 20)
    lost = 100 * BLOCK
    out.begin(20 * BLOCK + lost)
    out.end()
    got = taken(out, 5)
    whole = Ramp(None).render(20 * BLOCK + lost - begins, len(got)).astype(np.float32)
    np.testing.assert_array_equal(got[FADE:], whole[FADE:])
    assert np.all(np.abs(got[:FADE]) < np.abs(whole[:FADE]))


def test_what_was_sent_while_there_was_no_stream_begins_with_the_next() -> None:
    out = without_feeder()
    taken(out, 5)
    out.send(Ramp(500))
    out.begin(10**6)
    out.end()
    np.testing.assert_array_equal(taken(out, 4)[FADE:500], Ramp(500).render(0, 500)[FADE:].astype(np.float32))


def test_a_source_that_fails_is_kept_as_the_fault_and_silence_is_sent() -> None:
    class Broken(Ramp):
        def render(self, start: int, frames: int) -> NDArray[np.float64]:
            raise ValueError("broken")

    out = without_feeder()
    out.send(Broken())
    np.testing.assert_array_equal(taken(out, 5), 0.0)
    assert isinstance(out.error, ValueError)
    out.send(ToneSequence([Tone(1000.0, -6.0, 0.1)], RATE))
    assert np.abs(taken(out, 8)).max() > 0.4
    assert out.error is None


def test_the_feeder_keeps_up_with_a_callback_in_real_time() -> None:
    import time

    out = OutputBuffer(RATE, BLOCK)
    out.begin(0)
    begins = out.send(Ramp(None))
    got = []
    for _ in range(75):
        got.append(out.take())
        time.sleep(BLOCK / RATE)
    out.end()
    assert out.underruns == 0
    sound = np.concatenate([np.zeros((BLOCK, 2)) if b is None else b for b in got])
    whole = Ramp(None).render(0, len(sound) - begins).astype(np.float32)
    np.testing.assert_array_equal(sound[begins + FADE :], whole[FADE:])
