"""The uncertainty by wander, on courses whose law and long-run mean are known."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.tone import wander
from tests.rough_tape.grades import GRADES
from tests.rough_tape.machine import drawn_wanders
from tests.rough_tape.spectra import Spectrum, best_mean_rms, falling, knee
from tests.rough_tape.travel import RATE, drawn

US = 1e-6
NOMINAL = 1e3
"""Courses of one unit rms are speeds that wander by a thousandth."""


@pytest.mark.parametrize("seconds", [3.0, 8.0, 16.0])
def test_a_mean_level_is_as_far_from_the_long_run_as_is_said(seconds: float) -> None:
    rng = np.random.default_rng(int(seconds))
    off = []
    for n in range(200):
        spectra = drawn_wanders(rng, GRADES[n % 4]).level_at(float(rng.choice([315.0, 1000.0, 10000.0])))
        if n % 2:  # low-pass filtered noise extends down to zero frequency
            corner = float(np.exp(rng.uniform(np.log(0.5), np.log(3.0))))
            spectra = [Spectrum(knee(corner, 2.0), 0.003, 20.0, 0.25), Spectrum(falling(0.0), 0.01, 0.2, 0.1)]
        course = sum((s.noise(rng, round(50 * seconds), 50.0) for s in spectra), np.zeros(round(50 * seconds)))
        off.append(abs(course.mean()) / wander.of_level(course, 50.0, 0.0).total)
    # 93 to 98 % must lie within 2; with 200 trials, chance adds 3 % either way.
    assert 0.90 < np.mean(np.array(off) < 2.0) < 0.995


def test_a_mean_delay_is_nearly_as_near_to_the_long_run_as_any_can_be() -> None:
    """Compared with the Gauss-Markov mean, which knows the spectrum; 1.1 is allowed, and chance adds 7 %."""
    rng = np.random.default_rng(4)
    off, best = [], []
    for n in range(120):
        spectra, seconds = drawn_wanders(rng, GRADES[n % 4]).weave, rng.uniform(3.0, 12.0)
        scale = sum(s.rms**2 for s in spectra) ** 0.5
        course = sum((s.noise(rng, round(50 * seconds), 50.0) for s in spectra), np.zeros(round(50 * seconds))) / scale
        off.append(course.mean() + wander.of_delay(course - course.mean(), 50.0, 0.0, US)[0])
        best.append(best_mean_rms(list(spectra), seconds) / scale)
    assert np.linalg.norm(off) < 1.17 * np.linalg.norm(best)


def test_tones_of_one_machine_show_its_law_together() -> None:
    """Six tones of 4 s each: on slow wander the uncertainty is more often enough, and on usual tape it is smaller."""
    rng = np.random.default_rng(12)
    slow = [Spectrum(knee(1.0 / (6 * np.pi), 2.0), 0.002, 20.0, 0.25)]
    held, sizes = [], []
    for n in range(80):
        spectra = slow if n % 2 else drawn_wanders(rng, GRADES[1]).level_at(10000.0)
        courses = [sum((s.noise(rng, 200, 50.0) for s in spectra), np.zeros(200)) for _ in range(6)]
        found = [wander.of_level(c, 50.0, 0.0) for c in courses]
        shown = wander.evidence(found[1:]) * 5.0
        _, together = wander.with_evidence(found[0], shown)
        if n % 2:
            held.append([abs(courses[0].mean()) < 2.0 * w.total for w in (found[0], together)])
        else:
            sizes.append(together.total / found[0].total)
    alone, all_six = np.mean(held, axis=0)
    assert all_six > max(0.85, alone)
    assert np.median(sizes) < 0.9


def test_short_tones_that_hardly_wander_are_not_of_a_machine_that_wanders_by_decibels() -> None:
    """Low-pass noise of 0.5 dB with its corner at 0.5 Hz, through a window of 2.2 s, looks like a part of a drift.

    No cassette wanders by 2 dB in the long run: 0.55 dB on a poor one (common practice, no source).
    """
    rng = np.random.default_rng(14)
    spectra = Spectrum(knee(0.5, 2.0), 0.2, 10.0, 0.5), Spectrum(falling(0.7), 0.01, 0.2, 0.2)
    courses = [sum((s.noise(rng, 110, 50.0) for s in spectra), np.zeros(110)) for _ in range(100)]
    told = [2.0 * wander.of_level(c, 50.0, 0.0).total for c in courses]
    assert max(told) < 1.6
    assert np.mean([abs(c.mean()) < u for c, u in zip(courses, told, strict=True)]) > 0.88


@pytest.mark.parametrize("slow", [False, True])
def test_a_weave_is_as_far_from_the_long_run_as_is_said(slow: bool) -> None:
    """By the usual laws 93 to 98 % are wanted; a correlation of 1 s is hard to see within 3 to 8 s."""
    rng = np.random.default_rng(13)
    held = []
    for n in range(120):
        spectra = (
            (Spectrum(knee(1.0 / (2 * np.pi), 2.0), 0.002, 20.0, 1.0),)
            if slow
            else drawn_wanders(rng, GRADES[n % 4]).weave
        )
        seconds = rng.uniform(3.0, 8.0)
        course = sum((s.noise(rng, round(50 * seconds), 50.0) for s in spectra), np.zeros(round(50 * seconds)))
        _, found = wander.of_delay(course - course.mean(), 50.0, 0.0, US)
        machine = float(np.linalg.norm([s.rms for s in spectra]))
        held.append(abs(course.std() - machine) < 2.0 * wander.of_weave(float(course.std()), found, seconds))
    assert np.mean(held) > (0.75 if slow else 0.91)


def test_a_mean_speed_is_as_far_from_the_long_run_as_is_said() -> None:
    rng = np.random.default_rng(1)
    speeds, drifts = [], []
    for n in range(120):
        seconds = rng.uniform(8.0, 20.0)
        course = drawn(rng, GRADES[n % 4]).wander(rng, seconds)
        course = course[: int(seconds * 50) * 20].reshape(-1, 20).mean(axis=1)
        mean, drift = wander.of_speed(course, RATE / 20, 1.0)
        speeds.append(abs(course.mean()) / mean.total)
        t = np.arange(len(course)) / len(course)
        drifts.append(abs(np.polyfit(t, course, 1)[0]) / drift)
    assert np.mean(np.array(speeds) < 2.0) > 0.89
    assert np.mean(np.array(drifts) < 2.0) > 0.89


@pytest.mark.parametrize("correlated_s", [0.3, 1.0, 2.0, 3.0])
@pytest.mark.parametrize("of_delay", [False, True], ids=["level", "delay"])
def test_wander_of_any_correlation_time_is_seen_to_be_slow(correlated_s: float, of_delay: bool) -> None:
    """Exponentially correlated courses, up to a third of the tone.

    95 % are wanted; the density of the lowest lines alone gives 45 to 75 % from one second on.
    """
    rng = np.random.default_rng(round(10 * correlated_s))
    law = Spectrum(knee(1.0 / (2 * np.pi * correlated_s), 2.0), 0.002, 20.0, 1.0 if of_delay else 0.25)
    held = 0
    for _ in range(100):
        course = law.noise(rng, 500, 50.0)
        off, found = 0.0, wander.of_level(course, 50.0, 0.0)
        if of_delay:
            off, found = wander.of_delay(course - course.mean(), 50.0, 0.0, US)
        held += abs(course.mean() + off) < 2.0 * np.hypot(found.within, found.slower)
    assert held > 80


def test_a_random_walk_of_speed_is_seen_to_be_one() -> None:
    """A density of 1/f² from 0.01 Hz on, where one of 1/f is the usual one: 95 % are wanted."""
    rng = np.random.default_rng(8)
    law = Spectrum(falling(2.0), 0.01, 20.0, 1.0)
    t = np.arange(600) - 299.5
    speeds, drifts = 0, 0
    for _ in range(120):
        course = law.noise(rng, 600, 50.0)
        mean, drift = wander.of_speed(course, 50.0, NOMINAL)
        speeds += bool(abs(course.mean()) < 2.0 * mean.total)
        drifts += bool(abs(course @ t / (t @ t)) * 600 < 2.0 * drift)
    assert speeds > 0.86 * 120
    assert drifts > 0.80 * 120


def test_level_that_wanders_as_one_over_f_is_seen_to_be_slow() -> None:
    """From 0.01 to 10 Hz, most of it slower than the tone: 95 % are wanted, and nearly reached."""
    rng = np.random.default_rng(10)
    law = Spectrum(falling(1.0), 0.01, 10.0, 0.25)
    courses = [law.noise(rng, 400, 50.0) for _ in range(150)]
    assert np.mean([abs(c.mean()) < 2.0 * wander.of_level(c, 50.0, 0.0).total for c in courses]) > 0.83


def test_noise_is_no_wander() -> None:
    rng = np.random.default_rng(2)
    density = 1e-4
    courses = [np.sqrt(density * 50.0) * rng.standard_normal(400) for _ in range(300)]
    assert sum(wander.of_level(c, 50.0, density).total > 0.0 for c in courses) <= 2


def test_a_power_that_does_not_change_leaves_nothing_open_and_one_that_does_what_its_mean_scatters() -> None:
    assert wander.of_power(np.full(30, 2.0), 2.0) == 0.0
    rng = np.random.default_rng(3)
    white = Spectrum(falling(0.0), 0.001, 1.0, 0.3)
    courses = [1.0 + white.noise(rng, 40, 2.0) for _ in range(300)]
    scatter = float(np.std([c.mean() for c in courses]))
    assert np.median([wander.of_power(c, 2.0) for c in courses]) == pytest.approx(scatter, rel=0.3)


def test_a_drift_is_no_wander_of_its_own() -> None:
    """A belt that slips evenly: drift is distinguished from wander and does not change the uncertainty by wander."""
    rng = np.random.default_rng(5)
    course = np.cumsum(rng.normal(size=500)) * 0.001
    t = np.linspace(-0.5, 0.5, 500)
    _, alone = wander.of_speed(course, 50.0, NOMINAL)
    _, drifting = wander.of_speed(course + 0.5 * t, 50.0, NOMINAL)
    assert drifting == pytest.approx(alone, rel=0.01)


@pytest.mark.parametrize("seconds", [3.0, 10.0])
def test_a_drift_by_chance_stays_within_its_uncertainty(seconds: float) -> None:
    """Courses with a density of 1/f from 0.01 Hz on: k = 2 covers about 95 %."""
    rng = np.random.default_rng(7)
    hz = np.fft.rfftfreq(2**14, 1 / 50.0)
    density = np.where(hz >= 0.01, 1 / np.sqrt(np.maximum(hz, 0.01)), 0.0)
    count, length, within = 300, round(seconds * 50), 0
    t = np.arange(length) - 0.5 * (length - 1)
    for _ in range(count):
        whole = np.fft.irfft(density * (rng.normal(size=len(hz)) + 1j * rng.normal(size=len(hz))))
        at = int(rng.integers(0, len(whole) - length))
        course = whole[at : at + length]
        drift = float((course @ t) / (t @ t)) * length
        within += abs(drift) < 2 * wander.of_speed(course, 50.0, NOMINAL)[1]
    assert 0.91 * count < within < 0.99 * count
