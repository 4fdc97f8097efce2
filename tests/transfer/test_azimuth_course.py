"""The azimuth delay along a capture, against tapes of known delay, and the gain by correcting it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.signal import resample_poly

from bench.signals.demo_music import demo_music
from bench.transfer.azimuth_course import CourseReader, most_likely
from bench.transfer.errors import STRETCH_S, AzimuthCourse, ChannelErrors, TransferErrors
from bench.transfer.stages import through
from bench.transfer.transfer import Transfer
from tests.transfer.programme import blocks

RATE = 48000
FINER = 4
Delay = Callable[[np.ndarray], np.ndarray]
DELAYS: dict[str, Delay] = {
    "constant": lambda s: np.full(np.shape(s), 12.0),
    "drifts": lambda s: -15.0 + 0.5 * np.asarray(s),
    "comes and goes": lambda s: 10.0 * np.sin(2 * np.pi * np.asarray(s) / 60.0),
}


def delayed(sound: np.ndarray, us: np.ndarray) -> np.ndarray:
    """One channel with a delay for each sample, by linear interpolation at four times the sample rate."""
    fine = resample_poly(sound, FINER, 1)
    return np.asarray(np.interp((np.arange(len(sound)) - us * 1e-6 * RATE) * FINER, np.arange(len(fine)), fine))


def tape(delay: Delay, seconds: int = 60) -> tuple[np.ndarray, np.ndarray]:
    """Music with a little hiss, without and with a delay of the right channel; shape (frames, 2)."""
    music = np.tile(0.3 * demo_music(RATE), (seconds // 10, 1))
    hiss = 3e-4 * np.random.default_rng(4).standard_normal(music.shape)
    late = np.stack((music[:, 0], delayed(music[:, 1], delay(np.arange(len(music)) / RATE))), axis=1)
    return music, late + hiss


def read(sound: np.ndarray) -> AzimuthCourse:
    reader = CourseReader(RATE)
    for block in blocks(sound):
        reader.feed(block)
    course = reader.course()
    assert isinstance(course, AzimuthCourse)
    return course


def lost_in_mono_db(delay: Delay, course: AzimuthCourse, *, along: bool) -> float:
    """Level of 10 kHz in the sum of the channels, once the delay is taken off: its mean, or along the tape."""
    t = np.arange(round(len(course.delay_us) * STRETCH_S * RATE)) / RATE
    left, right = (np.sin(2 * np.pi * 10000.0 * (t - late)) for late in (0.0, 1e-6 * delay(t)))
    errors = TransferErrors((ChannelErrors(), ChannelErrors()), course.mean_us, 0.0, course if along else None)
    stages = Transfer("type-b", RATE, -12.0, errors).decoding()[:1]
    came = np.concatenate(list(through(stages, blocks(np.stack((left, right), axis=1)))))
    return float(20 * np.log10(np.std(came.mean(axis=1)) * 2**0.5))


@pytest.mark.parametrize("name", list(DELAYS))
def test_a_delay_along_the_tape(name: str) -> None:
    _, came = tape(DELAYS[name])
    course = read(came)
    true = DELAYS[name](np.array(course.middles_s))
    assert course.read == len(course.delay_us) == 6
    assert course.varies is (name != "constant")
    assert np.abs(np.array(course.delay_us) - true).max() < course.uncertainty_us < 5.0
    if course.varies:
        beside_the_mean = np.std(true - course.mean_us)
        assert np.std(course.delay_us - true) < beside_the_mean / 3
        lost = {along: lost_in_mono_db(DELAYS[name], course, along=along) for along in (False, True)}
        assert lost[False] < -0.15
        assert -0.03 < lost[True] <= 0.0


@pytest.mark.parametrize(
    ("samples", "because"),
    [
        (0.1 * np.random.default_rng(2).standard_normal((15 * RATE, 2)), "too little in common"),
        (np.zeros((15 * RATE, 2)), "silent"),
        (0.1 * np.random.default_rng(2).standard_normal((RATE // 10, 2)), "too little was heard"),
        (np.zeros((0, 2)), "too little was heard"),
    ],
)
def test_where_there_is_no_delay_it_says_why(samples: np.ndarray, because: str) -> None:
    reader = CourseReader(RATE)
    reader.feed(samples)
    course = reader.course()
    assert isinstance(course, str)
    assert because in course


def test_a_gap_and_a_reading_of_the_stereo_image_are_bridged() -> None:
    music, late = tape(DELAYS["drifts"])
    stretch = round(STRETCH_S * RATE)
    late[2 * stretch : 3 * stretch] = 0.0
    late[4 * stretch : 5 * stretch, 1] = np.roll(music[4 * stretch : 5 * stretch, 0], 15)  # 312 µs on purpose
    course = read(late)
    assert course.read == 4
    assert course.delay_us == pytest.approx(DELAYS["drifts"](np.array(course.middles_s)).tolist(), abs=5.0)


def test_the_most_likely_course_is_better_than_readings_and_than_their_mean() -> None:
    rng = np.random.default_rng(7)
    error = {"constant": [0.0, 0.0, 0.0], "wanders": [0.0, 0.0, 0.0]}
    for name, step in (("constant", 0.0), ("wanders", 1.5)):
        for _ in range(100):
            true = np.cumsum(step * rng.standard_normal(60))
            us = true + 2.0 * rng.standard_normal(60)
            found, _ = most_likely(us, np.full(60, 4.0))
            for n, guess in enumerate((found, us, np.full(60, us.mean()))):
                error[name][n] += float(np.mean((guess - true) ** 2)) / 100
    assert error["constant"][0] < 0.2 < error["constant"][1]
    # The filter that knows the size of the step leaves, in the middle, q/2·(√(1 + 4r/q) - 1) forwards.
    forwards = 2.25 / 2 * (np.sqrt(1 + 16 / 2.25) - 1)
    assert error["wanders"][0] < forwards < min(error["wanders"][1:])
