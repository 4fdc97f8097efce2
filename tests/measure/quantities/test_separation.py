"""Separation of a tone driven into one channel."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.measure.meters import Options
from tests.measure.captures import hiss, reading, tone, value
from tests.measure.whole_array import separation

RATE = 48000.0
BOTH = ((4.0, 1e-3), (20.0, 5e-4))


def crosstalk(
    db: float, snr: float, seconds: float, hz: float = 1000.0, *, rate: float = RATE, speed: float = 1.0, seed: int = 0
) -> NDArray[np.float64]:
    """A tone in the left channel and, 25 µs late, so much weaker in the right one."""
    late = round(25e-6 * rate)
    x = tone(hz, -10.0, seconds + late / rate, rate, flutter=BOTH, speed=speed)
    both = np.stack([x[late:], 10.0 ** (-db / 20.0) * x[: len(x) - late]], axis=1)
    return np.asarray(both + hiss(-10.0 - snr, len(both) / rate, rate, seed=seed, channels=2))


@pytest.mark.parametrize("db", [20.0, 40.0, 60.0])
@pytest.mark.parametrize("hz", [100.0, 315.0, 1000.0, 10000.0])
def test_separation_under_noise_flutter_and_a_wrong_speed(db: float, hz: float) -> None:
    told = reading(separation(crosstalk(db, 60.0, 4.0, hz, speed=1.02), RATE), "separation")
    assert told.value == pytest.approx(db, abs=0.1)
    assert told.channel == "left-right"
    assert told.bound is None


def test_either_channel_may_be_driven() -> None:
    x = crosstalk(40.0, 60.0, 4.0)[:, ::-1].copy()
    assert value(separation(x, RATE), "separation") == pytest.approx(40.0, abs=0.05)
    assert value(separation(x, RATE, Options(driven="right", frequency=1000.0)), "separation") == pytest.approx(
        40.0, abs=0.05
    )
    wrong = separation(x, RATE, Options(driven="left"))
    assert any("right channel is the louder" in w for w in wrong.warnings)


def test_what_noise_hides_is_at_least_so_much() -> None:
    told = separation(crosstalk(110.0, 40.0, 4.0), RATE)
    r = reading(told, "separation")
    assert r.bound == "at least"
    assert 60.0 < r.value < 110.0
    assert any("at least" in w for w in told.warnings)


def test_a_wandering_phase_between_the_tracks_hides_nothing() -> None:
    t = np.arange(round(8.0 * RATE)) / RATE
    x = np.stack(
        [np.sin(2 * np.pi * 1000.0 * t), 0.01 * np.sin(2 * np.pi * 1000.0 * t + 1.5 * np.sin(2 * np.pi * 0.4 * t))],
        axis=1,
    )
    assert value(separation(0.3 * x + hiss(-70.0, 8.0, channels=2), RATE), "separation") == pytest.approx(
        40.0, abs=0.15
    )


def test_hum_and_other_tones_in_the_quiet_channel_do_not_matter() -> None:
    x = crosstalk(50.0, 60.0, 6.0)
    x[:, 1] += tone(50.0, -40.0, len(x) / RATE)[: len(x)] + tone(1200.0, -50.0, len(x) / RATE)[: len(x)]
    assert value(separation(x, RATE), "separation") == pytest.approx(50.0, abs=0.15)


def test_hum_in_both_channels_that_beats_with_itself_is_in_the_uncertainty() -> None:
    # Hum 30 dB below a tone of 80 Hz ripples its phase, and the other channel's hum is turned back by that ripple.
    t = np.arange(round(6.0 * RATE)) / RATE
    mains = 0.3 * 10.0 ** (-30.0 / 20.0) * np.sin(2 * np.pi * 50.0 * t + 1.0)
    x = np.stack([0.3 * np.sin(2 * np.pi * 80.0 * t) + mains, 0.3e-3 * np.sin(2 * np.pi * 80.0 * t) + mains], axis=1)
    r = reading(separation(x + hiss(-75.0, 6.0, channels=2), RATE), "separation")
    assert r.bound == "at least" or (r.uncertainty is not None and abs(r.value - 60.0) <= r.uncertainty)
    assert r.bound != "at least" or r.value <= 60.0


def test_both_driven_alike_is_said() -> None:
    x = np.repeat(tone(1000.0, -10.0, 3.0)[:, None], 2, axis=1)
    told = separation(x, RATE)
    assert value(told, "separation") == pytest.approx(0.0, abs=0.01)
    assert any("--driven" in w for w in told.warnings)


@pytest.mark.long
@pytest.mark.parametrize(
    ("db", "snr", "seconds"), [(40.0, 50.0, 2.0), (60.0, 50.0, 3.0), (70.0, 50.0, 5.0), (60.0, 40.0, 5.0)]
)
def test_stated_uncertainty_covers_the_truth(db: float, snr: float, seconds: float) -> None:
    rng = np.random.default_rng(8)
    hits = []
    for k in range(500):
        hz, speed = rng.choice([315.0, 1000.0, 6300.0]), 1.0 + rng.uniform(-0.03, 0.03)
        x = crosstalk(db, snr, seconds, hz, rate=20000.0, speed=speed, seed=k)
        r = reading(separation(x, 20000.0), "separation")
        hits.append(r.value <= db if r.uncertainty is None else abs(r.value - db) <= r.uncertainty)
    assert 0.93 <= np.mean(hits) <= 0.98
