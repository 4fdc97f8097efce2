"""Where a tone is steady, on synthetic basebands."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.measure.tone.finding.frames import make_frames
from bench.measure.tone.finding.steady_stretches import Run, steady_runs
from tests.rough_tape.grades import GRADES
from tests.rough_tape.machine import drawn_wanders

RATE, ZERO = 2000.0, 1000.0


def runs(level_db: NDArray[np.float64], hz: NDArray[np.float64] | float = 1000.0, noise: float = 1e-5) -> list[Run]:
    """Stretches of a tone near 1 kHz whose level and frequency are given for each point."""
    rng = np.random.default_rng(1)
    turn = 2 * np.pi * np.cumsum(np.broadcast_to(np.asarray(hz) - ZERO, level_db.shape)) / RATE
    z = 10.0 ** (level_db / 20.0) * np.exp(1j * turn)
    z += noise * (rng.standard_normal(len(z)) + 1j * rng.standard_normal(len(z)))
    return steady_runs(make_frames(z[:, None], RATE, 1000.0, ZERO), 1000.0, 0.0)


def held(seconds: float, db: float) -> NDArray[np.float64]:
    return np.full(round(seconds * RATE), db)


def seconds(run: Run) -> tuple[float, float]:
    return run.first * 0.016, run.last * 0.016


def test_a_tone_between_silence() -> None:
    (run,) = runs(np.concatenate([held(1, -200.0), held(2, -20.0), held(1, -200.0)]))
    start, end = seconds(run)
    assert abs(start - 1.0) < 0.04
    assert abs(end - 3.0) < 0.04


def test_a_step_of_one_decibel_parts_two_takes_and_a_wander_does_not() -> None:
    assert len(runs(np.concatenate([held(1, -20.0), held(1, -21.0)]))) == 2
    t = np.arange(16000) / RATE
    assert len(runs(-20.0 + np.sin(2 * np.pi * 0.3 * t))) == 1


def test_a_short_tone_on_a_poor_cassette_is_one() -> None:
    """Level and contact wander by 1 dB rms at 10 kHz: one lucky quiet stretch must not decide what a step is."""
    rng = np.random.default_rng(2)
    whole = 0
    for _ in range(150):
        spectra = drawn_wanders(rng, GRADES[3]).level_at(10000.0)
        slow = sum((s.noise(rng, 200, 100.0) for s in spectra), np.zeros(200))
        whole += len(runs(np.repeat(slow, 20) - 20.0)) == 1
    assert whole == 150


def test_a_short_dropout_or_click_is_passed_over() -> None:
    level = held(3, -20.0)
    level[2000:2080] -= 15.0
    level[4000:4010] += 20.0
    assert len(runs(level)) == 1


def test_attacks_and_fades_are_left_out() -> None:
    fade = 20 * np.log10(np.linspace(1e-3, 1.0, 2000))
    (run,) = runs(np.concatenate([fade, held(2, 0.0), fade[::-1]]) - 20.0)
    start, end = seconds(run)
    assert 0.9 < start < 1.06
    assert 2.94 < end < 3.1


def test_a_glide_is_no_tone_and_flutter_is_one() -> None:
    t = np.arange(6000) / RATE
    assert runs(held(3, -20.0), 1000.0 + 100.0 * (t - 1.5)) == []
    assert len(runs(held(3, -20.0), 1000.0 + 5.0 * np.sin(2 * np.pi * 4.0 * t))) == 1


def test_noise_and_what_is_too_short_are_no_tone() -> None:
    assert runs(held(3, -200.0)) == []
    assert runs(np.concatenate([held(1, -200.0), held(0.3, -20.0), held(1, -200.0)])) == []


def test_direct_current_far_above_a_low_tone_does_not_make_its_level_wander() -> None:
    # -34 dBFS of direct current, 20 dB over a tone of 101 Hz: a block of 10 ms is not quite a period.
    t = np.arange(2 * 2000) / RATE
    oscillator = 101.5625
    direct = 0.04 * np.exp(-2j * np.pi * oscillator * t)
    z = direct + 2e-3 * np.exp(2j * np.pi * (101.0 - oscillator) * t)
    frames = make_frames(z[:, None], RATE, 100.8, oscillator)
    assert np.ptp(frames.level_db[3:-3]) < 0.1
    assert len(steady_runs(frames, 100.8, 100.8 - oscillator)) == 1


def test_silence_within_a_voice_is_no_tone() -> None:
    # A voice leaks into the measured direct current, which is subtracted from the silence as well.
    rng = np.random.default_rng(3)
    oscillator = 453.125
    z = np.asarray(rng.normal(0.0, 0.05, 2000) + 1j * rng.normal(0.0, 0.05, 2000), dtype=np.complex128)
    z[600:1400] = 0.0
    frames = make_frames(z[:, None], RATE, 451.0, oscillator)
    assert max(frames.snr[18:37]) < 1e-3
