"""The live meter of one tone."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from bench.measure.quantities.azimuth import azimuth_of_tones, phase_of_tone
from bench.measure.quantities.live_tone import ToneWatch, WatchState
from tests.cases import cases
from tests.measure.spoiled import Tone, after, hiss, silence, stereo
from tests.results import a_reading, no_reading

RATE = 48000.0


def states(x: NDArray[np.float64], hz: float, *, block: int = 2400) -> list[WatchState]:
    """The result after each block of 50 ms."""
    watch = ToneWatch(RATE, x.shape[1], hz)
    out = []
    for at in range(0, len(x), block):
        watch.feed(x[at : at + block])
        out.append(watch.now())
    return out


def noisy(*parts: NDArray[np.float64]) -> NDArray[np.float64]:
    x = after(parts)
    return np.asarray(x + hiss(len(x), -75.0, RATE, np.random.default_rng(0)))


def test_it_comes_and_goes() -> None:
    seen = states(
        noisy(silence(0.5, RATE), stereo(Tone(400.0, -20.0, 1.5, right_db=-1.0), RATE), silence(0.8, RATE)), 400.0
    )
    assert not any(s.tone_present for s in seen[:10])
    assert all(s.tone_present for s in seen[18:38])
    assert not any(s.tone_present for s in seen[-4:])
    now = seen[36]
    assert a_reading(now.levels[0]).value == pytest.approx(-20.0, abs=0.01)
    assert now.tone is not None
    assert now.tone.balance is not None
    assert a_reading(now.tone.balance).value == pytest.approx(1.0, abs=0.01)
    assert a_reading(now.speed[0]).value == pytest.approx(0.0, abs=0.01)
    assert no_reading(seen[2].levels[0]).reason == "no tone of 400 Hz sounds"


def test_a_step_is_wholly_shown_after_the_window() -> None:
    x = noisy(stereo(Tone(1000.0, -20.0, 2.0), RATE), stereo(Tone(1000.0, -21.5, 2.0), RATE))
    seen = states(x, 1000.0)
    assert a_reading(seen[38].levels[0]).value == pytest.approx(-20.0, abs=0.01)
    assert a_reading(seen[40 + 15].levels[0]).value == pytest.approx(-21.5, abs=0.01)
    way = [a_reading(s.levels[0]).value for s in seen[40:55]]
    assert all(b <= a + 0.05 for a, b in itertools.pairwise(way))


def test_two_tones_that_sound_together_are_watched_apart() -> None:
    x = noisy(stereo(Tone(400.0, -20.0, 1.5), RATE) + stereo(Tone(10000.0, -24.0, 1.5, delay_s=4e-6), RATE))
    low, high = states(x, 400.0)[-2], states(x, 10000.0)[-2]
    assert a_reading(low.levels[0]).value == pytest.approx(-20.0, abs=0.01)
    assert a_reading(high.levels[0]).value == pytest.approx(-24.0, abs=0.01)
    assert high.tone is not None
    assert a_reading(azimuth_of_tones([high.tone])).value == pytest.approx(4.0, abs=0.03)
    assert a_reading(phase_of_tone(high.tone)).value == pytest.approx(14.4, abs=0.1)
    assert low.other_tone_hz is None
    assert high.other_tone_hz == pytest.approx(400.0, abs=4.0)


def test_another_tone_is_told_and_a_wrong_speed_followed() -> None:
    other = states(noisy(stereo(Tone(1000.0, -20.0, 1.0), RATE)), 10000.0)[-2]
    assert not other.tone_present
    assert other.other_tone_hz == pytest.approx(1000.0, abs=4.0)
    fast = states(noisy(stereo(Tone(10000.0, -20.0, 1.0, speed=0.06), RATE)), 10000.0)[-2]
    assert a_reading(fast.speed[0]).value == pytest.approx(6.0, abs=0.001)


def test_noise_and_silence_are_no_tone() -> None:
    for x in (silence(1.0, RATE), noisy(silence(2.0, RATE))):
        assert not any(s.tone_present for s in states(x, 1000.0))


def test_mono() -> None:
    state = states(noisy(stereo(Tone(1000.0, -20.0, 1.0), RATE))[:, :1], 1000.0)[-2]
    assert [r.channel for r in state.levels] == ["mono"]
    assert state.tone is not None
    assert state.tone.balance is None


@cases(12)
@given(
    blocks=st.lists(st.integers(1, 6000), min_size=1, max_size=4),
    rate=st.sampled_from([8000.0, 22050.0, 44100.0, 96000.0]),
    asks=st.booleans(),
)
def test_any_split_into_blocks_shows_the_same_at_any_rate(blocks: list[int], rate: float, asks: bool) -> None:
    rng = np.random.default_rng(3)
    x = stereo(Tone(1000.0, -20.0, 1.0, speed=0.01, flutter=((4.0, 0.001),), delay_s=9e-6), rate, rng)
    x += hiss(len(x), -70.0, rate, rng)
    whole, split = ToneWatch(rate, 2, 1000.0), ToneWatch(rate, 2, 1000.0)
    whole.feed(x)
    at, sizes = 0, itertools.cycle(blocks)
    while at < len(x):
        size = next(sizes)
        split.feed(x[at : at + size])
        if asks:
            split.now()
        at += size
    assert split.now() == whole.now()
    assert a_reading(whole.now().levels[0]).value == pytest.approx(-20.0, abs=0.01)
