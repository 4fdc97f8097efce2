"""Drift, against a general fit and against visits with known noise."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from scipy.optimize import curve_fit

from bench.session.compare.drift import DAYS_A_YEAR, Drift, Step, drift, reaches

YEAR = DAYS_A_YEAR


def test_one_step_is_its_size_over_its_span_with_the_combined_uncertainty() -> None:
    found = drift([Step(2 * YEAR, -0.5, 0.17)])
    assert found is not None
    assert found.per_year == pytest.approx(-0.25)
    assert found.uncertainty == pytest.approx(0.085)
    assert found.shows
    assert found.steps == 1
    assert found.years == pytest.approx(2.0)


def test_several_steps_are_the_weighted_line_that_scipy_fits() -> None:
    rng = np.random.default_rng(3)
    spans, u = np.array([0.5, 1.0, 1.2, 2.5]), np.array([0.1, 0.2, 0.15, 0.3])
    by = 0.4 * spans + 0.1 * u * rng.standard_normal(4)  # so little scatter that the readings' uncertainty remains
    (rate,), ((variance,),) = curve_fit(lambda t, r: r * t, spans, by, sigma=u / 2, absolute_sigma=True)
    found = drift([Step(t * YEAR, d, s) for t, d, s in zip(spans, by, u, strict=True)])
    assert found is not None
    assert found.per_year == pytest.approx(rate, rel=1e-6)
    assert found.uncertainty == pytest.approx(2 * np.sqrt(variance), rel=1e-6)


def test_scatter_beyond_the_uncertainties_widens_it_as_scipy_scales_it() -> None:
    spans, by = np.array([1.0, 1.0, 1.0, 1.0]), np.array([1.0, -0.6, 0.9, -0.2])
    (rate,), ((variance,),) = curve_fit(lambda t, r: r * t, spans, by, sigma=np.full(4, 0.05), absolute_sigma=False)
    found = drift([Step(YEAR, float(d), 0.1) for d in by])
    assert found is not None
    assert found.per_year == pytest.approx(rate, rel=1e-6)
    assert found.uncertainty == pytest.approx(2 * np.sqrt(variance), rel=1e-6)
    assert not found.shows


def test_it_takes_three_steps_to_see_scatter() -> None:
    # Two steps leave one degree of freedom, too few for chi-squared to test the uncertainties (Birge 1932).
    of_two = drift([Step(YEAR, 1.0, 0.1), Step(YEAR, -1.0, 0.1)])
    of_three = drift([Step(YEAR, 1.0, 0.1), Step(YEAR, -1.0, 0.1), Step(YEAR, 0.0, 0.1)])
    assert of_two is not None
    assert of_three is not None
    assert of_two.uncertainty == pytest.approx(0.1 / np.sqrt(2))
    # Chi-squared is (1/0.05)² twice, over two degrees of freedom: Birge's ratio is 20.
    assert of_three.uncertainty == pytest.approx(20 * 0.1 / np.sqrt(3))


def test_the_uncertainty_covers_the_truth_in_19_of_20() -> None:
    rng = np.random.default_rng(11)
    covered = 0
    for _ in range(2000):
        spans = rng.uniform(0.4, 2.0, size=2)
        u = rng.uniform(0.05, 0.3, size=2)
        by = 0.3 * spans + u / 2 * rng.standard_normal(2)
        found = drift([Step(t * YEAR, d, s) for t, d, s in zip(spans, by, u, strict=True)])
        assert found is not None
        covered += abs(found.per_year - 0.3) <= found.uncertainty
    assert 0.94 < covered / 2000 < 0.97  # 95.4 % of a normal distribution, ± 2 standard errors and a little


def test_there_is_none_where_nothing_can_be_said() -> None:
    assert drift([]) is None
    assert drift([Step(0.5, 1.0, 0.1)]) is None
    assert drift([Step(YEAR, 1.0, 0.0)]) is None
    assert drift([Step(-YEAR, 1.0, 0.1)]) is None  # a clock that was set back


def test_a_day_is_the_shortest_span_and_a_second_visit_of_one_day_does_not_count() -> None:
    day = drift([Step(1.0, 0.5, 0.1)])
    assert day is not None
    assert day.per_year == pytest.approx(0.5 * 365.25)
    again = drift([Step(0.0, 5.0, 0.1), Step(YEAR, 1.0, 0.1)])
    assert again is not None
    assert again.steps == 1
    assert again.per_year == pytest.approx(1.0)


def test_when_the_tolerance_is_reached() -> None:
    since = date(2026, 1, 1)
    down = drift([Step(YEAR, -0.2, 0.1)])
    assert down is not None
    assert reaches(down, since, 0.1, (-0.5, 0.5)) == since + timedelta(days=3 * YEAR)
    assert reaches(down, since, -0.6, (-0.5, 0.5)) == since
    hidden = drift([Step(YEAR, -0.2, 0.3)])
    assert hidden is not None
    assert reaches(hidden, since, 0.1, (-0.5, 0.5)) is None
    slow = drift([Step(YEAR, 0.002, 0.001)])
    assert slow is not None
    assert reaches(slow, since, 0.0, (-0.5, 0.5)) is None


def test_a_limit_on_one_side_is_reached_from_one_side_only() -> None:
    since = date(2026, 1, 1)
    down = drift([Step(YEAR, -1.0, 0.1)])
    assert down is not None
    assert reaches(down, since, 62.0, (60.0, float("inf"))) == since + timedelta(days=2 * YEAR)
    assert reaches(down, since, 62.0, (float("-inf"), 65.0)) is None


def test_at_the_end_of_its_tolerance_a_reading_is_still_inside() -> None:
    since = date(2026, 1, 1)
    up, down = Drift(0.5, 0.1, 1, 1.0), Drift(-0.5, 0.1, 1, 1.0)
    assert reaches(up, since, -0.5, (-0.5, 0.5)) == since + timedelta(days=2 * YEAR)
    assert reaches(down, since, 0.5, (-0.5, 0.5)) == since + timedelta(days=2 * YEAR)


def test_in_fifty_years_it_is_no_prediction() -> None:
    since = date(2026, 1, 1)
    slow = Drift(0.01, 0.001, 1, 1.0)
    assert reaches(slow, since, 0.0, (-0.5, 0.5)) is None
    assert reaches(slow, since, 0.01, (-0.5, 0.5)) == since + timedelta(days=49 * YEAR)
