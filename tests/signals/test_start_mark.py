"""Start marks are found at any speed of a deck, in spite of its effects on sound, and nowhere else."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from bench.problem import Problem
from bench.signals.start_mark import START_MARK_S, StartMark, find_start_mark
from bench.signals.tones import Gap, Tone, ToneSequence
from tests.cases import cases

RATE = 48000
LEAD_IN_S = 0.7
"""What precedes the mark in `sent`."""


def sent(rate: int = RATE, dbfs: float = -20.0) -> NDArray[np.float64]:
    mark = StartMark(rate, dbfs)
    sequence = ToneSequence([Gap(LEAD_IN_S), mark, Tone(1000.0, -10.0, 0.5), Gap(0.2), Tone(600.0, -10.0, 0.5)], rate)
    return np.asarray(sequence.render(0, sequence.frames or 0)[:, 0])


def played(
    samples: NDArray[np.float64], speed: float, wow: float = 0.0, wow_hz: float = 1.0, phase: float = 0.0
) -> NDArray[np.float64]:
    """The tape at another speed, with wow as a fraction of it (peak)."""
    t = np.arange(int(len(samples) / speed) - 2000) / RATE
    wobble = wow * (np.sin(2 * np.pi * wow_hz * t + phase) - np.sin(phase)) / (2 * np.pi * wow_hz)
    return np.asarray(np.interp((speed * t + wobble) * RATE, np.arange(len(samples)), samples))


@pytest.mark.parametrize("rate", [8000, 11025, 44100, 48000, 96000])
def test_found_to_the_frame_at_any_rate(rate: int) -> None:
    found = find_start_mark(sent(rate), rate)
    assert found is not None
    assert found[0] == round(LEAD_IN_S * rate)
    assert found[1] == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("speed", [0.92, 0.97, 0.99, 1.005, 1.03, 1.08])
def test_found_at_a_wrong_speed_with_the_speed(speed: float) -> None:
    found = find_start_mark(played(sent(), speed), RATE)
    assert found is not None
    assert abs(found[0] - LEAD_IN_S * RATE / speed) <= 2
    assert found[1] == pytest.approx(speed, rel=1e-5)


@given(
    speed=st.floats(0.97, 1.03),
    wow_hz=st.sampled_from([0.55, 4.0, 10.0]),
    phase=st.floats(0.0, 6.2),
    late=st.integers(0, 30),
    inverted=st.booleans(),
    dead=st.booleans(),
    seed=st.integers(0, 1000),
)
@cases(12)
def test_found_through_a_poor_deck(
    *, speed: float, wow_hz: float, phase: float, late: int, inverted: bool, dead: bool, seed: int
) -> None:
    """0.3 % wow, no treble above 4 kHz, hum at -30 dBFS, 34 dB above hiss, a late, inverted or dead channel."""
    rng = np.random.default_rng(seed)
    dull = sosfilt(butter(2, 4000.0, fs=RATE, output="sos"), played(sent(), speed, 0.003, wow_hz, phase))
    other = np.zeros_like(dull) if dead else np.roll(-dull if inverted else dull, late)
    both = np.stack([dull, other], 1) + rng.normal(0.0, 10.0 ** (-57.0 / 20.0), (len(dull), 2))
    both += 10.0 ** (-30.0 / 20.0) * np.sin(2 * np.pi * 50.0 * np.arange(len(dull)) / RATE)[:, None]
    found = find_start_mark(both, RATE)
    assert found is not None
    assert abs(found[0] - LEAD_IN_S * RATE / speed) < 0.005 * RATE
    assert found[1] == pytest.approx(speed, abs=0.005)  # the wow itself is 0.003


def test_found_late_in_a_long_capture_and_only_the_first_of_two() -> None:
    rng = np.random.default_rng(2)
    mark = sent(16000)
    long = np.concatenate([rng.normal(0.0, 0.01, 500_000), mark, np.zeros(100_000), mark])
    found = find_start_mark(long, 16000)
    assert found is not None
    assert abs(found[0] - (500_000 + LEAD_IN_S * 16000)) <= 1


@pytest.mark.parametrize("start", range(0, 160_000, 9_700))
def test_found_wherever_it_lies(start: int) -> None:
    x = np.zeros(220_000)
    mark = StartMark(16000).render(0, round(START_MARK_S * 16000))[:, 0]
    x[start : start + len(mark)] = mark
    found = find_start_mark(x, 16000)
    assert found is not None
    assert abs(found[0] - start) <= 1


def test_not_found_where_there_is_none() -> None:
    rng = np.random.default_rng(5)
    t = np.arange(9 * RATE) / RATE
    tones = ToneSequence(
        [p for hz in (40, 315, 500, 550, 600, 1000, 3150, 10000) for p in (Tone(hz, -10.0, 0.8), Gap(0.2))], RATE
    )
    others = {
        "silence": np.zeros(9 * RATE),
        "noise": rng.normal(0.0, 0.1, (9 * RATE, 2)),
        "rumble": np.cumsum(rng.normal(0.0, 0.01, 9 * RATE)),
        "tones": tones.render(0, 8 * RATE),
        "slow sweep": np.sin(2 * np.pi * (300.0 * t + 200.0 * t**2)),
        "clicks": (rng.random(9 * RATE) < 1e-4).astype(float),
        "short": np.zeros(100),
        "none": np.zeros((0, 2)),
        "one chirp": StartMark(RATE).render(0, RATE)[:, 0],
    }
    assert {name: find_start_mark(x, RATE) for name, x in others.items()} == dict.fromkeys(others)


def in_band_noise(frames: int, rms: float, seed: int = 3) -> NDArray[np.float64]:
    """Noise in the band of the mark, 500 to 3500 Hz, with the given rms in that band."""
    noise = sosfilt(
        butter(6, (500.0, 3500.0), "bandpass", fs=RATE, output="sos"),
        np.random.default_rng(seed).normal(0.0, 1.0, frames + RATE),
    )[RATE:]
    return np.asarray(rms * noise / np.sqrt(np.mean(noise**2)))


CHIRP_RMS = 0.1 / np.sqrt(2.0)
"""Amplitude of a mark at -20 dBFS (AES17: a full-scale sine is 0 dBFS)."""


@pytest.mark.parametrize(("noise_db", "there"), [(0.0, True), (10.0, False)])
def test_found_in_noise_as_strong_and_not_guessed_in_stronger(noise_db: float, *, there: bool) -> None:
    # A matched filter's share of the energy is S/(S + N): a half at 0 dB, a tenth under noise 10 dB above.
    clean = sent()
    for seed in range(4):
        noisy = clean + in_band_noise(len(clean), CHIRP_RMS * 10 ** (noise_db / 20.0), seed)
        found = find_start_mark(noisy, RATE)
        assert (found is not None) is there
        if found is not None:
            assert abs(found[0] - LEAD_IN_S * RATE) < 0.001 * RATE


def test_hum_and_bias_are_no_hindrance() -> None:
    t = np.arange(len(sent())) / RATE
    hum, pilot = 0.5 * np.sin(2 * np.pi * 100.0 * t), 0.5 * np.sin(2 * np.pi * 19000.0 * t)
    found = find_start_mark(sent() + hum + pilot, RATE)
    assert found is not None
    assert abs(found[0] - LEAD_IN_S * RATE) <= 2


@pytest.mark.parametrize(("under_db", "there"), [(60.0, True), (100.0, False)])
def test_a_faint_mark_after_something_loud(under_db: float, *, there: bool) -> None:
    loud = ToneSequence([Tone(1000.0, 0.0, 1.0), Gap(0.3)], RATE)
    mark = 10 ** ((20.0 - under_db) / 20.0) * sent()
    found = find_start_mark(np.concatenate([loud.render(0, loud.frames or 0)[:, 0], mark]), RATE)
    assert (found is not None) is there
    if found is not None:
        assert abs(found[0] - (1.3 + LEAD_IN_S) * RATE) <= 1


@pytest.mark.parametrize("speed", [0.85, 1.18])
def test_chirps_too_far_apart_for_any_deck_are_no_mark(speed: float) -> None:
    assert find_start_mark(played(sent(), speed), RATE) is None


def test_a_mark_whose_beginning_was_not_captured_is_none() -> None:
    x = sent()
    assert find_start_mark(x[round((LEAD_IN_S + 0.15) * RATE) :], RATE) is None
    late = find_start_mark(np.concatenate([x[round((LEAD_IN_S + 0.15) * RATE) :], x]), RATE)
    assert late is not None
    assert abs(late[0] - (len(x) - 0.15 * RATE)) <= 1


def test_a_capture_at_too_low_a_rate_holds_no_mark() -> None:
    assert find_start_mark(np.random.default_rng(1).normal(0.0, 0.1, 40_000), 6900) is None


def test_any_deck_passes_the_band_of_the_mark() -> None:
    # Common practice, no source: a voice recorder passes 300 to 4000 Hz.
    mark = StartMark(RATE)
    power = np.abs(np.fft.rfft(mark.render(0, mark.frames)[:, 0])) ** 2
    hz = np.fft.rfftfreq(mark.frames, 1.0 / RATE)
    assert power[(hz >= 450.0) & (hz <= 3700.0)].sum() > 0.998 * power.sum()
    # A chirp over less than two octaves would match a tone too well.
    assert power[hz < 1000.0].sum() > 0.2 * power.sum()
    assert power[hz > 2000.0].sum() > 0.05 * power.sum()


def test_the_mark_is_two_short_chirps_a_second_apart() -> None:
    samples = np.abs(StartMark(RATE).render(0, round(1.5 * RATE))[:, 0])
    sounding = np.flatnonzero(samples > 0.01) / RATE
    assert sounding.min() == pytest.approx(0.0, abs=0.005)
    assert sounding.max() == pytest.approx(1.1, abs=0.005)
    assert not np.any((sounding > 0.1) & (sounding < 1.0))


def test_level_and_length() -> None:
    mark = StartMark(RATE, -12.0)
    samples = mark.render(0, mark.frames)
    assert mark.frames == START_MARK_S * RATE
    assert np.abs(samples).max() == pytest.approx(10.0 ** (-12.0 / 20.0), abs=1e-3)
    np.testing.assert_array_equal(mark.render(-50, 100)[50:], samples[:50])
    np.testing.assert_array_equal(mark.render(mark.frames - 10, 100)[10:], 0.0)


@pytest.mark.parametrize(
    ("rate", "dbfs", "said"),
    [
        (7999, -20.0, "8000 Hz or more, not 7999 Hz"),
        (48000, 0.5, "can't be sent at 0.5 dBFS"),
        (48000, -201.0, "can't be sent at −201 dBFS"),
        (48000, float("nan"), "can't be sent at nan dBFS"),
    ],
)
def test_a_mark_that_cannot_be_sent_is_refused(rate: int, dbfs: float, said: str) -> None:
    with pytest.raises(Problem, match=said):
        StartMark(rate, dbfs)


def test_the_loudest_and_the_faintest_mark() -> None:
    assert np.abs(StartMark(8000, 0.0).render(0, 800)).max() == pytest.approx(1.0, abs=1e-2)
    assert np.abs(StartMark(8000, -200.0).render(0, 800)).max() == pytest.approx(1e-10, rel=1e-2)
