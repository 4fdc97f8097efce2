"""Figures in words."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.measure.reading import UNITS, NoReading, Reading
from bench.measure.verdict import Verdict
from bench.words.figures import as_given, decibels, figure, hertz, live_decimals, number, spread
from bench.words.readings import target_text, value_text


@pytest.mark.parametrize(
    ("unit", "tolerance", "places"),
    [("dB", 0.5, 1), ("dB", 2.0, 1), ("dB", 0.1, 2), ("%", 0.2, 2), ("µs", 6.0, 0), ("dB", None, 1), ("%", None, 2)],
)
def test_decimals_show_a_fifth_of_the_tolerance(unit: str, tolerance: float | None, places: int) -> None:
    assert live_decimals(unit, tolerance) == places


def test_numbers_have_a_true_minus_and_no_minus_zero() -> None:
    assert number(-12.34, 1) == "−12.3"
    assert number(-0.04, 1) == "0.0"
    assert number(3.0, 0, sign=True) == "+3"


@pytest.mark.parametrize(
    ("quantity", "value", "uncertainty", "text"),
    [
        ("level", -12.0432, 0.12, "−12.04 ± 0.12"),
        ("level", -12.0432, 0.00012, "−12.04 ± 0.01"),
        ("level", -0.001, 0.05, "0.00 ± 0.05"),
        ("azimuth_delay", 21.44, 1.7, "21.4 ± 1.7"),
        ("azimuth_delay", 21.44, 15.0, "21 ± 15"),
        ("speed_error", 0.0421, 0.0312, "0.042 ± 0.032"),
        ("dropout_count", 3.0, 0.0, "3"),
        ("separation", 52.06, 0.5, "52.06 ± 0.50"),
    ],
)
def test_a_figure_has_the_places_its_uncertainty_leaves(
    quantity: str, value: float, uncertainty: float, text: str
) -> None:
    """Two figures of the uncertainty and the value to the same place, as JCGM 100:2008, 7.2.6 has it."""
    assert value_text(Reading(quantity, "left", value, uncertainty)) == text


def test_a_bound_and_no_reading_are_said() -> None:
    assert value_text(Reading("separation", "left", 52.0, 0.5, bound="at least")) == "at least 52.00 ± 0.50"
    assert value_text(NoReading("level", "left", "silence")) == "no reading"
    assert value_text(Reading("level", "left", -12.0, 0.1), unit=True) == "−12.00 ± 0.10 dBFS"


@given(uncertainty=st.floats(1e-6, 1e4), unit=st.sampled_from(sorted(set(UNITS.values()))))
def test_an_uncertainty_is_never_told_smaller(uncertainty: float, unit: str) -> None:
    told = float(spread(uncertainty, unit).removeprefix("± "))
    assert told >= uncertainty * (1 - 1e-6)
    places = len(spread(uncertainty, unit).partition(".")[2])
    assert told - uncertainty <= 10.0**-places * (1 + 1e-6)


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e3))
def test_a_figure_is_the_value_rounded(value: float, uncertainty: float) -> None:
    text = figure(value, "dB", uncertainty)
    assert "-" not in text
    assert math.isclose(float(text.replace("−", "-")), value, abs_tol=0.51 * 10.0 ** -len(text.partition(".")[2]))


def test_targets() -> None:
    assert target_text(None) == "none"
    assert target_text(Verdict(word="in", target=-12.0, tolerance=0.5)) == "−12 ± 0.5"
    assert target_text(Verdict(word="in", target=0.2)) == "0.2"
    assert as_given(-0.0) == "0"
    assert as_given(-0.0004) == "0"


def test_frequencies_and_levels() -> None:
    assert [hertz(hz) for hz in (40, 315, 1000, 3150, 12500)] == ["40 Hz", "315 Hz", "1 kHz", "3.15 kHz", "12.5 kHz"]
    assert [decibels(db) for db in (-20.0, 0.0, 3.0)] == ["−20 dB", "0 dB", "+3 dB"]
