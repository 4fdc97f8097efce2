"""Tones are found in streams, whatever else those contain."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from bench.measure.tone.finding.finder import FoundTone, ToneFinder
from tests.cases import cases
from tests.measure.spoiled import Tone, after, hiss, hum, silence, stereo
from tests.measure.whole_array import find_tones

RATE = 48000.0


def heard(*parts: NDArray[np.float64], rate: float = RATE, noise_dbfs: float = -75.0, seed: int = 0) -> list[FoundTone]:
    x = after(parts)
    return find_tones(x + hiss(len(x), noise_dbfs, rate, np.random.default_rng(seed)), rate)


def told(tones: list[FoundTone]) -> list[tuple[float, float]]:
    return [(round(t.frequency_hz, 1), round(t.tones[0].dbfs, 2)) for t in tones]


def test_tones_in_any_order_with_and_without_gaps() -> None:
    wanted = [(1000.0, -20.0), (63.0, -22.0), (12500.0, -24.0), (315.0, -20.5), (40.0, -21.0), (10000.0, -18.0)]
    parts = [silence(0.6, RATE)]
    for n, (hz, db) in enumerate(wanted):
        parts += [stereo(Tone(hz, db, 1.2), RATE), silence(0.4 * (n % 2), RATE)]
    assert told(heard(*parts)) == wanted


def test_short_takes_a_tenth_of_a_second_apart() -> None:
    one = [stereo(Tone(1000.0, -20.0, 0.7), RATE), silence(0.1, RATE)]
    tones = heard(silence(0.5, RATE), *one, *one, *one)
    assert told(tones) == [(1000.0, -20.0)] * 3
    assert [round(t.start_s, 1) for t in tones] == [0.5, 1.3, 2.1]


@pytest.mark.parametrize("hz", [40.0, 315.0, 10000.0])
def test_steps_of_one_decibel_without_a_gap_are_takes(hz: float) -> None:
    tones = heard(*[stereo(Tone(hz, db, 1.0), RATE) for db in (-20.0, -21.0, -22.0)])
    assert told(tones) == [(hz, -20.0), (hz, -21.0), (hz, -22.0)]


@pytest.mark.parametrize("rate", [8000.0, 44100.0, 96000.0, 192000.0])
def test_any_sample_rate_and_speed(rate: float) -> None:
    tones = heard(
        stereo(Tone(1000.0, -20.0, 0.8, speed=-0.02, flutter=((3.0, 0.003),)), rate),
        silence(0.3, rate),
        stereo(Tone(3150.0, -30.0, 0.8, speed=0.06), rate),
        rate=rate,
    )
    assert [t.frequency_hz for t in tones] == [pytest.approx(980.0, abs=0.5), pytest.approx(3339.0, abs=0.1)]
    assert [t.dbfs for t in tones] == [pytest.approx(-20.0, abs=0.01), pytest.approx(-30.0, abs=0.01)]


@pytest.mark.parametrize("hz", [315.0, 1000.0, 12500.0])
def test_a_weak_tone_under_strong_hiss(hz: float) -> None:
    (tone,) = heard(silence(0.5, RATE), stereo(Tone(hz, -60.0, 3.0), RATE), silence(0.5, RATE), noise_dbfs=-50.0)
    assert abs(tone.tones[0].dbfs + 60.0) < 0.5
    assert 0.05 < tone.tones[0].dbfs_uncertainty < 0.4


def test_a_dead_and_a_weak_channel() -> None:
    x = stereo(Tone(1000.0, -20.0, 1.5, right_db=-200.0), RATE)
    x[:, 1] = 0.0
    (dead,) = find_tones(x, RATE)
    assert [t.present for t in dead.tones] == [True, False]
    assert dead.pair is None
    (weak,) = heard(stereo(Tone(10000.0, -20.0, 2.0, right_db=-35.0, delay_s=5e-6), RATE))
    assert weak.tones[1].dbfs == pytest.approx(-55.0, abs=0.02)
    assert weak.pair is not None
    assert weak.pair.lag_rad == pytest.approx(2 * np.pi * 0.05, abs=0.01)


def test_tones_that_sound_together_are_told_apart() -> None:
    x = stereo(Tone(315.0, -10.0, 1.5), RATE) + stereo(Tone(400.0, -30.0, 1.5), RATE)
    x = x + stereo(Tone(10000.0, -40.0, 1.5), RATE)
    assert sorted(told(heard(x))) == [(315.0, -10.0), (400.0, -30.0), (10000.0, -40.0)]


def test_harmonics_and_hum_are_no_tones() -> None:
    rng = np.random.default_rng(2)
    x = after([silence(1.0, RATE), stereo(Tone(1000.0, -20.0, 1.0, harmonics=(0.05, 0.1)), RATE), silence(1.0, RATE)])
    x = x + hum(len(x), -55.0, RATE, rng)
    assert told(find_tones(x, RATE)) == [(1000.0, -20.0)]
    told_too = ToneFinder(RATE, 2, hum=True)
    assert any(abs(t.frequency_hz - 50.0) < 0.1 for t in [*told_too.feed(x), *told_too.finish()])


@pytest.mark.parametrize("hz", [50.0, 100.0, 150.0])
def test_hum_is_as_faint_in_two_channels_as_in_one(hz: float) -> None:
    """At −46.5 dBFS in each channel it is hum, though both together are stronger than −45 dBFS."""
    rng = np.random.default_rng(8)
    t = np.arange(round(8.0 * RATE)) / RATE
    x = 10.0 ** (-46.5 / 20.0) * np.sin(2 * np.pi * hz * t)[:, None] + 2e-4 * rng.standard_normal((len(t), 2))
    assert find_tones(x, RATE) == []


def test_sweeps_noise_and_silence_hold_no_tone() -> None:
    t = np.arange(round(8 * RATE)) / RATE
    sweep = 0.3 * np.sin(2 * np.pi * 20.0 * 8.0 / np.log(1000.0) * (1000.0 ** (t / 8.0) - 1.0))
    slow = 0.3 * np.sin(2 * np.pi * (1000.0 * t + 15.0 * t**2))
    for x in (sweep, slow):
        assert heard(np.stack([x, x], axis=1)) == []
    assert heard(silence(5.0, RATE), noise_dbfs=-20.0) == []
    assert find_tones(silence(3.0, RATE), RATE) == []
    assert find_tones(silence(0.0, RATE), RATE) == []


def test_what_sounds_now() -> None:
    finder = ToneFinder(RATE, 2)
    x = after([silence(0.5, RATE), stereo(Tone(400.0, -20.0, 3.0), RATE), silence(1.0, RATE)])
    x = x + hiss(len(x), -75.0, RATE, np.random.default_rng(0))
    seen, ended = [], []
    for at in range(0, len(x), 2400):
        ended += finder.feed(x[at : at + 2400])
        seen.append(finder.current)
    ended += finder.finish()
    assert all(s is None for s in seen[:16])
    now = seen[40]
    assert now is not None
    assert now.frequency_hz == pytest.approx(400.0, abs=0.01)
    assert now.tones[0].dbfs == pytest.approx(-20.0, abs=0.01)
    assert now.start_s == pytest.approx(0.5, abs=0.05)
    assert now.end_s == pytest.approx(2.0, abs=0.4)
    assert seen[-1] is None
    assert len(ended) == 1


SOUND = after(
    [
        stereo(Tone(1000.0, -20.0, 0.9), 8000.0),
        silence(0.2, 8000.0),
        stereo(Tone(100.0, -20.0, 0.8), 8000.0) + stereo(Tone(2500.0, -30.0, 0.8), 8000.0),
        stereo(Tone(2500.0, -20.0, 1.1), 8000.0),
    ]
)
SOUND += hiss(len(SOUND), -60.0, 8000.0, np.random.default_rng(9))
WHOLE = find_tones(SOUND, 8000.0)


@cases(15)
@given(blocks=st.lists(st.integers(1, 5000), min_size=1, max_size=4), asks=st.booleans())
def test_any_split_into_blocks_gives_the_same(blocks: list[int], asks: bool) -> None:
    finder, found, at, sizes = ToneFinder(8000.0, 2), [], 0, itertools.cycle(blocks)
    while at < len(SOUND):
        size = next(sizes)
        found += finder.feed(SOUND[at : at + size])
        if asks:
            _ = finder.current
        at += size
    assert [*found, *finder.finish()] == WHOLE
    assert len(WHOLE) == 4


@pytest.mark.parametrize(("hz", "fast"), [(1000.0, 50.0), (2044.8, 30.0), (3150.0, 50.0), (6300.0, 90.0)])
def test_fast_flutter_makes_no_tones_beside_the_tone_and_takes_nothing_off_it(hz: float, fast: float) -> None:
    # 0.1 % peak: sidebands of 20 lg(0.0005 hz / fast) dB, 40 to 29 dB below the tone.
    rng = np.random.default_rng(0)
    (found,) = heard(silence(0.5, RATE), stereo(Tone(hz, -20.0, 1.5, flutter=((fast, 0.001),)), RATE, rng))
    assert abs(found.tones[0].dbfs + 20.0) < 0.0008
    assert found.tones[0].dbfs_uncertainty < 0.0008


@pytest.mark.parametrize(("hz", "mains_hz"), [(113.9, 60.0), (106.5, 50.0), (245.5, 60.0)])
def test_a_tone_that_begins_beside_hum_is_not_taken_for_the_hum(hz: float, mains_hz: float) -> None:
    x = after([silence(0.6, RATE), stereo(Tone(hz, -36.0, 4.0), RATE), silence(0.6, RATE)])
    x = x + hum(len(x), -70.0, RATE, np.random.default_rng(1), mains_hz)
    assert [round(t.frequency_hz, 1) for t in find_tones(x, RATE)] == [hz]


@pytest.mark.parametrize("beside_hz", [-122.0, 130.0])
@pytest.mark.parametrize("off_hz", [-95.0, -75.0, 0.0, 85.0])
def test_a_faint_peak_ahead_of_a_tone_narrows_nothing_of_it(off_hz: float, beside_hz: float) -> None:
    """A print from the next layer, or its hiss, is close to the tone, is followed first, and has its own neighbours."""
    t = np.arange(5 * RATE) / RATE
    faint = 10 ** (-86 / 20) * np.sin(2 * np.pi * (8000 + off_hz) * t)
    faint += 0.7 * 10 ** (-86 / 20) * np.sin(2 * np.pi * (8000 + off_hz + beside_hz) * t)
    sound = np.where(t < 2.0, faint, 10 ** (-42 / 20) * np.sin(2 * np.pi * 8000.0 * t))
    sound += 10 ** (-110 / 20) * np.random.default_rng(1).standard_normal(len(t))
    tone = max(find_tones(np.stack((sound, sound), axis=1), RATE), key=lambda f: f.dbfs)
    assert tone.frequency_hz == pytest.approx(8000.0, abs=0.1)
    assert tone.dbfs == pytest.approx(-42.0, abs=0.02)
