"""Erasure of a tone, in noise, under flutter."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.measure.meters import Options
from tests.measure.captures import hiss, mono, reading, result, tone, value
from tests.measure.whole_array import erasure
from tests.results import no_reading
from tests.rough_tape.spectra import Spectrum, falling, knee

RATE = 48000.0
BOTH = ((0.6, 5e-4), (4.0, 1e-3))
RECORDED = Options(frequency=1000.0, reference_level=-10.0)


def erased(db: float, seconds: float = 12.0, *, speed: float = 1.0, seed: int = 0) -> NDArray[np.float64]:
    return tone(1000.0, -10.0 - db, seconds, flutter=BOTH, speed=speed) + hiss(-58.0, seconds, seed=seed)[:, 0]


@pytest.mark.parametrize("speed", [1.0, 0.98, 1.02])
@pytest.mark.parametrize(("db", "within"), [(40.0, 0.1), (55.0, 0.2), (65.0, 0.5)])
def test_residue_below_the_noise_of_the_band(db: float, within: float, speed: float) -> None:
    told = reading(erasure(mono(erased(db, speed=speed)), RATE, RECORDED), "erasure")
    assert told.value == pytest.approx(db, abs=within)
    assert told.bound is None
    assert told.frequency_hz == 1000.0


def test_what_noise_hides_is_at_least_so_much() -> None:
    told = erasure(mono(erased(110.0)), RATE, RECORDED)
    r = reading(told, "erasure")
    assert r.bound == "at least"
    assert 70.0 < r.value < 110.0
    assert any("at least" in w for w in told.warnings)


@pytest.mark.parametrize("options", [Options(), Options(frequency=1000.0)])
def test_recorded_and_erased_in_one_capture(options: Options) -> None:
    x = np.concatenate([tone(1000.0, -10.0, 6.0, flutter=BOTH), np.zeros(48000), erased(60.0)])
    told = reading(erasure(mono(x + hiss(-80.0, len(x) / RATE)[:, 0]), RATE, options), "erasure")
    assert told.value == pytest.approx(60.0, abs=0.4)
    assert told.reference == "the recorded part"


@pytest.mark.parametrize("ramp_s", [0.3, 1.0, 1.5])
def test_where_erase_current_falls_the_tape_is_not_erased(ramp_s: float) -> None:
    # The current rises and falls slowly, so that starting and stopping makes no click: common practice, no source.
    ramp = np.geomspace(1e-3, 1.0, round(ramp_s * RATE))
    recorded = tone(1000.0, -10.0, 8.0 + ramp_s, flutter=BOTH)
    recorded[: len(ramp)] *= ramp
    x = np.concatenate([erased(60.0), recorded])
    told = reading(erasure(mono(x), RATE, Options(frequency=1000.0)), "erasure")
    assert told.value == pytest.approx(60.0, abs=0.4)
    assert told.uncertainty < 1.0


def test_what_was_erased_weakly_while_the_current_fell_is_left_out() -> None:
    x = erased(60.0)
    x[-round(2.2 * RATE) :] *= 5.0
    x = np.concatenate([x, tone(1000.0, -10.0, 8.0, flutter=BOTH)])
    told = reading(erasure(mono(x), RATE, Options(frequency=1000.0)), "erasure")
    assert told.value == pytest.approx(60.0, abs=0.4)
    assert told.uncertainty < 1.0


def test_without_anything_to_compare_there_is_no_reading() -> None:
    told = no_reading(result(erasure(mono(erased(50.0)), RATE, Options(frequency=1000.0)), "erasure"))
    assert "--reference-level" in told.reason


def test_hum_is_not_taken_for_the_residue() -> None:
    x = erased(60.0) + tone(50.0, -30.0, 12.0) + tone(150.0, -40.0, 12.0)
    assert value(erasure(mono(x), RATE, RECORDED), "erasure") == pytest.approx(60.0, abs=0.4)


def test_noise_alone_is_no_residue() -> None:
    for seed in range(12):
        r = reading(erasure(hiss(-50.0, 5.0, seed=seed), RATE, RECORDED), "erasure")
        assert r.bound == "at least"


def test_stated_uncertainty_covers_the_truth() -> None:
    hits = []
    for seed in range(40):
        r = reading(erasure(mono(erased(65.0, 8.0, seed=seed)), RATE, RECORDED), "erasure")
        hits.append(abs(r.value - 65.0) <= r.uncertainty)
    assert np.mean(hits) >= 0.87  # of 40, at 95 %, with room for chance


@pytest.mark.parametrize(
    ("hz", "speed", "mains", "options"),
    [
        (315.0, 0.98, 50.0, Options()),
        (315.0, 0.98, 50.0, Options(frequency=315.0, reference_level=-10.0)),
        (315.0, 0.97, 60.0, Options(frequency=315.0, reference_level=-10.0)),
        (400.0, 1.02, 60.0, Options()),
        (400.0, 0.98, 50.0, Options()),
    ],
)
def test_a_line_of_the_mains_beside_the_tone_is_left_out(
    hz: float, speed: float, mains: float, options: Options
) -> None:
    """309 beside 300 Hz, 408 beside 420 Hz: the hum is 5 dB above what is left of the tone."""
    told = reading(
        erasure(mono(beside_hum(hz, speed, mains, recorded=not options.frequency)), RATE, options), "erasure"
    )
    assert told.bound is None
    assert told.value == pytest.approx(60.0, abs=0.2)


def test_hum_that_may_be_the_residue_makes_it_at_least_so_much() -> None:
    """392 Hz was recorded as 400 Hz; nobody says that the tape runs slow, and 400 Hz is there: hum."""
    options = Options(frequency=400.0, reference_level=-10.0)
    told = erasure(mono(beside_hum(400.0, 0.98, 50.0, recorded=False)), RATE, options)
    r = reading(told, "erasure")
    assert r.bound == "at least"
    assert r.value < 60.0
    assert any("mains hum at 400 Hz" in w for w in told.warnings)


def beside_hum(hz: float, speed: float, mains: float, *, recorded: bool) -> NDArray[np.float64]:
    """A tone 60 dB erased, after its recording or alone; the mains and its harmonics at −65 dBFS."""
    left = tone(hz, -70.0, 12.0, flutter=BOTH, speed=speed)
    whole = np.concatenate([tone(hz, -10.0, 6.0, flutter=BOTH, speed=speed), left]) if recorded else left
    seconds = len(whole) / RATE
    hum = sum((tone(mains * k, -65.0, seconds) for k in range(1, 10)), np.zeros(len(whole)))
    return np.asarray(whole + hum + hiss(-85.0, seconds)[:, 0])


@pytest.mark.parametrize("silence_s", [0.6, 1.5, 4.0, 15.0])
def test_a_capture_that_goes_on_after_the_tape_reads_the_same(silence_s: float) -> None:
    x = np.concatenate([erased(55.0), np.zeros(round(silence_s * RATE))])
    told = reading(erasure(mono(x + hiss(-85.0, len(x) / RATE)[:, 0]), RATE, RECORDED), "erasure")
    assert told.value == pytest.approx(55.0, abs=0.15)
    assert told.uncertainty < 0.3


def test_a_tape_that_wanders_is_as_uncertain_as_it_scatters() -> None:
    """Recorded and erased parts at a level that wanders as on an average cassette: 0.25 dB, and 0.1 dB slowly."""
    rng = np.random.default_rng(9)
    laws = Spectrum(knee(1.0, 2.0), 0.2, 10.0, 0.25), Spectrum(falling(0.7), 0.01, 0.2, 0.1)
    recorded, gap, left = 7.0, 1.0, 11.0
    x = np.concatenate([tone(1000.0, -10.0, recorded), np.zeros(48000), tone(1000.0, -60.0, left)])
    t = np.arange(len(x)) / RATE
    points = round(50 * (recorded + gap + left))
    errors, uncertainties = [], []
    for _ in range(12):
        db = sum((law.noise(rng, points, 50.0) for law in laws), np.zeros(points))
        wandering = x * 10.0 ** (np.interp(t, np.arange(points) / 50.0, db) / 20.0)
        told = reading(erasure(mono(wandering), RATE, Options(frequency=1000.0)), "erasure")
        errors.append(told.value - 50.0)
        uncertainties.append(told.uncertainty)
    rms = float(np.sqrt(np.mean(np.square(errors))))
    assert rms < np.median(uncertainties) < 4.0 * rms


@pytest.mark.parametrize("speed", [0.996, 0.999, 1.0015, 1.003, 1.0185])
def test_where_a_high_harmonic_of_the_mains_could_be_the_residue_is_whole(speed: float) -> None:
    """1000 Hz is the twentieth harmonic of 50 Hz, and 1020 Hz the seventeenth of 60 Hz; a tape rarely runs exactly."""
    left = tone(1000.0, -70.0, 14.0, flutter=BOTH, speed=speed)
    x = np.concatenate([tone(1000.0, -10.0, 8.0, flutter=BOTH, speed=speed), left])
    told = reading(erasure(mono(x + hiss(-70.0, 22.0)[:, 0]), RATE), "erasure")
    assert told.value == pytest.approx(60.0, abs=0.15)
    assert told.bound is None
