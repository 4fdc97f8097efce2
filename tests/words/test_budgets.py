"""What makes a reading uncertain, in words."""

from __future__ import annotations

import pytest

from bench.measure.reading import Contribution, NoReading, Reading
from bench.words.budgets import budget_lines

OWN = Contribution("noise", 0.001), Contribution("ends of the tone", 0.002)


def level(*budget: Contribution) -> Reading:
    whole = 2.0 * sum(c.value**2 for c in budget) ** 0.5
    return Reading("level", "left", -20.0, whole, budget=budget)


def test_the_largest_comes_first_and_the_stretch_by_itself_last() -> None:
    """An uncertainty is a difference of two levels, which is in dB and not in dBFS."""
    assert budget_lines(level(*OWN, Contribution("wander", 0.06))) == (
        "± 0.12 dB: wander seen within the tone",
        "± 0.01 dB: ends of the tone, left out with their fades",
        "± 0.01 dB: noise beside the tone",
        "± 0.01 dB: this stretch of sound alone",
    )


def test_of_a_stretch_alone_there_is_no_such_line() -> None:
    assert budget_lines(level(OWN[0])) == ("± 0.01 dB: noise beside the tone",)
    assert budget_lines(NoReading("level", "left", "the capture is silent")) == ()
    assert budget_lines(Reading("level", "left", -20.0, 0.1)) == ()


def test_what_widens_a_reading_stands_in_its_budget() -> None:
    told = level(OWN[0]).widened("reference tape", 0.25)
    assert told.uncertainty == pytest.approx((0.002**2 + 0.25**2) ** 0.5)
    assert 2.0 * sum(c.value**2 for c in told.budget) ** 0.5 == pytest.approx(told.uncertainty)
    assert told.tone_uncertainty == pytest.approx(0.002)
    assert told.uncertainty_without("reference tape") == pytest.approx(0.002)
    assert told.as_json()["uncertainty_of"] == "the machine"
    assert level(OWN[0]).as_json()["uncertainty_of"] == "this stretch"
