"""Each stage against a formula, with the same samples for any split of the sound."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.problem import Problem
from bench.tape.mistracking_map import ReplayErrors
from bench.transfer.errors import ChannelErrors, TransferErrors
from bench.transfer.stages import Resampler, Response, Stage, through
from bench.transfer.transfer import Transfer
from tests.cases import cases

RATE = 48000
WRONG = ReplayErrors(2.0, ((63.0, 1.0), (4000.0, -3.0), (10000.0, -8.0)))


def whole(stage: Stage, sound: np.ndarray) -> np.ndarray:
    return np.concatenate(list(through([stage], [sound])))


def phasor(sound: np.ndarray, hz: float) -> complex:
    inside = sound[len(sound) // 4 : -len(sound) // 4]
    window = np.hanning(len(inside))
    turns = np.exp(-2j * np.pi * hz * (np.arange(len(inside)) + len(sound) // 4) / RATE)
    return complex(2 * (inside * window * turns).sum() / window.sum())


def sine(hz: float, seconds: float = 1.0) -> np.ndarray:
    return np.asarray(np.sin(2 * np.pi * hz * np.arange(round(seconds * RATE)) / RATE))


@pytest.mark.parametrize("hz", [63.0, 400.0, 4000.0, 10000.0])
def test_a_response_is_exact_where_it_is_given(hz: float) -> None:
    channel = ChannelErrors(WRONG)
    came = whole(Response(RATE, [channel.response_db], low_pass=False), sine(hz)[:, None])[:, 0]
    wanted = dict([(400.0, 0.0), *WRONG.treble])[hz]
    assert 20 * np.log10(abs(phasor(came, hz)) / abs(phasor(sine(hz), hz))) == pytest.approx(wanted, abs=0.01)


def test_between_the_points_it_is_smooth_and_beyond_them_it_goes_on_for_half_an_octave() -> None:
    channel = ChannelErrors(WRONG)
    assert channel.response_db([63.0, 400.0, 4000.0, 10000.0]) == pytest.approx([1.0, 0.0, -3.0, -8.0], abs=1e-12)
    assert channel.response_db([0.0, 20.0]) == pytest.approx([1.0, 1.0])
    # 5 dB from 4 to 10 kHz, which are 1.322 octaves.
    further = -8.0 - 0.5 * 5.0 / np.log2(2.5)
    assert channel.response_db([10000.0 * 2**0.5, 24000.0]) == pytest.approx([further, further])
    assert further < channel.response_db([12000.0])[0] < -8.0
    between = channel.response_db(np.geomspace(63.0, 10000.0, 400))
    steps = np.diff(between)
    assert (steps < 0).all()  # falls where the points fall, with no bump of its own
    assert np.abs(np.diff(steps)).max() < 0.003
    assert ChannelErrors().response_db([20.0, 20000.0]) == pytest.approx([0.0, 0.0])


def test_its_phase_is_the_least_that_goes_with_it() -> None:
    """A response with one pole and one zero, both on the left, has their phase and no more."""
    pole, zero = 500.0, 2000.0

    def shelf_db(hz: np.ndarray) -> np.ndarray:
        return np.asarray(10 * np.log10((1 + (hz / zero) ** 2) / (1 + (hz / pole) ** 2)))

    points = np.geomspace(20.0, 20000.0, 60)
    db = shelf_db(points) - shelf_db(np.array([400.0]))
    errors = ReplayErrors(0.0, tuple(zip(points.tolist(), db.tolist(), strict=True)))
    for hz in (200.0, 1000.0, 4000.0):
        stage = Response(RATE, [ChannelErrors(errors).response_db], low_pass=False)
        turned = np.angle(phasor(whole(stage, sine(hz)[:, None])[:, 0], hz) / phasor(sine(hz), hz))
        assert turned == pytest.approx(np.arctan(hz / zero) - np.arctan(hz / pole), abs=0.02)


@pytest.mark.parametrize("late_us", [-55.0, 0.4, 7.0, 312.5])
@pytest.mark.parametrize("hz", [1000.0, 10000.0])
def test_a_delay_of_parts_of_a_sample(late_us: float, hz: float) -> None:
    sound = np.stack((sine(hz), sine(hz)), axis=1)
    came = whole(Resampler(RATE, 1.0, np.array([[0.0], [late_us * 1e-6]])), sound)
    assert len(came) == len(sound)
    assert np.allclose(came[:, 0], sound[:, 0], atol=1e-12)
    turned = np.angle(phasor(came[:, 1], hz) / phasor(sound[:, 1], hz) * np.exp(-2e-6j * np.pi * hz * late_us))
    assert turned == pytest.approx(0.0, abs=1e-4)
    assert abs(phasor(came[:, 1], hz)) == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize("hz", [400.0, 10000.0, 16000.0])
def test_a_speed(hz: float) -> None:
    came = whole(Resampler(RATE, 1 / 1.005, np.zeros((1, 1))), sine(hz)[:, None])
    assert len(came) == round(1.005 * RATE)
    right = np.sin(2 * np.pi * hz / 1.005 * np.arange(len(came)) / RATE)
    inside = slice(100, -100)
    assert np.abs(came[inside, 0] - right[inside]).max() < 2e-4


@pytest.mark.parametrize("rate", [88200, 192000])
def test_a_speed_at_high_rates(rate: int) -> None:
    n = np.arange(rate // 4)
    came = whole(Resampler(rate, 1 / 1.005, np.zeros((1, 1))), np.sin(2 * np.pi * 20000.0 * n / rate)[:, None])
    right = np.sin(2 * np.pi * 20000.0 / 1.005 * np.arange(len(came)) / rate)
    assert 20 * np.log10(np.abs(came[100:-100, 0] - right[100:-100]).max()) < -95


@cases(15)
@given(st.lists(st.integers(1, 30000), min_size=1, max_size=8), st.sampled_from([44100, 96000]), st.booleans())
def test_the_same_samples_whatever_the_blocks(sizes: list[int], rate: int, decode: bool) -> None:
    sound = 0.2 * np.random.default_rng(5).standard_normal((sum(sizes), 2))
    errors = TransferErrors((ChannelErrors(WRONG), ChannelErrors(ReplayErrors(-1.0))), -31.7, 0.4)
    transfer = Transfer("type-b", rate, -12.0, errors)

    def made(blocks: list[np.ndarray]) -> np.ndarray:
        return np.concatenate(list(through(transfer.decoding() if decode else transfer.encoding(), blocks)))

    split = [sound[a:b] for a, b in pairwise(np.cumsum([0, *sizes]))]
    assert np.array_equal(made([sound]), made(split))


def test_a_delay_that_changes_is_the_same_whatever_the_blocks() -> None:
    sound = np.stack((sine(1000.0, 2.0), sine(1000.0, 2.0)), axis=1)
    delays = np.array([[0.0, 0.0, 0.0, 0.0], [-40e-6, 55e-6, 10e-6, 70e-6]])

    def made(size: int) -> np.ndarray:
        stage = Resampler(RATE, 1 / 1.004, delays, 0.5)
        return np.concatenate(list(through([stage], [sound[at : at + size] for at in range(0, len(sound), size)])))

    one = made(len(sound))
    for size in (1000, 4801, 30000):
        assert np.array_equal(one, made(size))
    # In the middle of the third stretch, at 1.25 s of the input, the right channel is given 10 µs earlier.
    at = round(1.25 * RATE * 1.004) + np.arange(-240, 240)
    place = at / 1.004 + 10e-6 * RATE
    assert one[at, 1] == pytest.approx(np.sin(2 * np.pi * 1000.0 * place / RATE), abs=0.005)


@pytest.mark.parametrize("system", ["type-b", "type-a"])
def test_what_encoding_puts_on_decoding_takes_off(system: str) -> None:
    rng = np.random.default_rng(3)
    spectrum = np.fft.rfft(rng.standard_normal((2 * RATE, 2)), axis=0)
    spectrum[2 * 15000 :] = 0
    sound = 0.05 * np.fft.irfft(spectrum, axis=0)
    errors = TransferErrors((ChannelErrors(WRONG), ChannelErrors(ReplayErrors(-3.0, ((10000.0, 3.0),)))), 55.0, -0.5)
    transfer = Transfer("type-b" if system == "type-b" else "type-a", RATE, -12.0, errors)
    coded = np.concatenate(list(through(transfer.encoding(), [sound])))
    came = np.concatenate(list(through(transfer.decoding(), [coded])))[: len(sound)]
    assert abs(len(came) - len(sound)) <= 1
    inside = slice(2000, -2000)
    left = came[inside] - sound[: len(came)][inside]
    assert 20 * np.log10(np.std(left) / np.std(sound)) < -60


@pytest.mark.parametrize(
    ("channels", "delay", "speed", "said"),
    [
        (2, float("nan"), 0.0, "an azimuth delay of nan µs is no head's"),
        (2, 6000.0, 0.0, "from −5000 to 5000 µs"),
        (2, 0.0, 25.0, "a speed error of 25 %"),
        (2, 0.0, float("inf"), "a speed error of inf %"),
        (1, 10.0, 0.0, "lies between two channels, and this capture has one"),
    ],
)
def test_impossible_errors_are_refused(channels: int, delay: float, speed: float, said: str) -> None:
    with pytest.raises(Problem, match=said):
        TransferErrors((ChannelErrors(),) * channels, delay, speed)
