"""Means of correlated courses: against the best linear estimator, and against the quantiles of the normal law."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.measure.tone.wander_laws import Estimates, change_of, mean_of
from tests.rough_tape.spectra import Spectrum, best_mean_rms, falling

ONE = np.ones(1)


def random_walk(hz: NDArray[np.float64]) -> list[tuple[float, NDArray[np.float64]]]:
    """The only law: 1/f²."""
    return [(1.0, hz**-2.0)]


def test_a_mean_under_the_right_law_is_the_best_and_says_how_good_it_is() -> None:
    """Gauss and Markov: 1/√(1ᵀ C⁻¹ 1); 200 draws know their scatter to 5 %."""
    rng = np.random.default_rng(1)
    law = Spectrum(falling(2.0), 0.01, 20.0, 1.0)
    found = [mean_of(law.noise(rng, 400, 50.0), 50.0, 0.0, random_walk) for _ in range(200)]
    best = best_mean_rms([law], 8.0)
    assert np.sqrt(np.mean([f.mean**2 for f in found])) == pytest.approx(best, rel=0.2)
    assert np.sqrt(np.mean([f.deviations[0] ** 2 for f in found])) == pytest.approx(best, rel=0.2)


def test_known_noise_is_no_wander() -> None:
    """White noise about a random walk: where the noise is known, the walk alone says how far the mean is."""
    rng = np.random.default_rng(2)
    walk = Spectrum(falling(2.0), 0.01, 20.0, 1.0).noise(rng, 400, 50.0)
    noise = 2e-2
    noisy = walk + np.sqrt(noise * 50.0) * rng.standard_normal(400)
    alone, told, untold = (mean_of(x, 50.0, n, random_walk) for x, n in ((walk, 0.0), (noisy, noise), (noisy, 0.0)))
    assert told.deviations[0] == pytest.approx(alone.deviations[0], rel=0.4)
    assert untold.deviations[0] > 1.5 * told.deviations[0]


def test_a_trend_changes_its_estimate_and_not_its_uncertainty() -> None:
    rng = np.random.default_rng(3)
    walk = Spectrum(falling(2.0), 0.01, 20.0, 1.0).noise(rng, 384, 50.0)
    before = change_of(walk, 50.0, random_walk)
    after = change_of(walk + np.linspace(-1.0, 1.0, 384), 50.0, random_walk)
    assert after.mean - before.mean == pytest.approx(2.0, rel=0.01)
    assert after.deviations[0] == pytest.approx(before.deviations[0], rel=0.01)


def test_an_uncertainty_is_half_of_what_errors_stay_within() -> None:
    """95.45 % of a normal law lie within two standard deviations."""
    one = Estimates(ONE, 3.0 * ONE, 0.5 * ONE, ONE, ONE)
    assert one.uncertainty(3.0) == pytest.approx(0.5, rel=2e-3)
    two = Estimates(np.array([0.5, 0.5]), np.array([-1.0, 1.0]), np.array([1e-6, 1e-6]), np.ones(2), np.ones(2))
    assert two.uncertainty(0.0) == pytest.approx(0.5, rel=2e-3)
