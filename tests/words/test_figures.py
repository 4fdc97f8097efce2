"""Figures in words. The rounding of uncertainties is that of JCGM 100:2008 (GUM), 7.2.6."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from bench.figures import as_given, hertz, number
from bench.measure.reading import Bound
from bench.words.figures import (
    decibels,
    figure,
    hertz_tick,
    live_decimals,
    plus_minus,
    rotation,
    tape_speed,
    tone,
    with_uncertainty,
)

uncertainties = st.floats(1e-12, 1e12)
values = st.floats(-1e9, 1e9).filter(lambda value: value == 0 or abs(value) > 1e-9)
bounds: st.SearchStrategy[Bound] = st.sampled_from(["at least", "at most"])


def read(text: str) -> float:
    """The number that a figure says."""
    return float(text.replace("−", "-"))


def digits(text: str) -> str:
    """The significant digits of a figure, as far as it shows any."""
    return re.sub(r"[^0-9]", "", text).lstrip("0")


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        # GUM 7.2.6, from memory: u = 10.47 mΩ is said as 11 mΩ, and 10.057 62 Ω with u = 27 mΩ as 10.058 Ω.
        (10.05762, 0.01047, "10.058 ± 0.011"),
        (10.05762, 0.027, "10.058 ± 0.027"),
        # GUM 7.2.2, from memory: m = 100.021 47 g with u = 0.35 mg.
        (100.02147, 0.00035, "100.02147 ± 0.00035"),
        # The same rule where it has no example.
        (-12.0432, 0.044, "−12.043 ± 0.044"),
        (-0.0004, 0.05, "0.000 ± 0.050"),
        (21.44, 15.0, "21 ± 15"),
        (1234.0, 123.0, "1230 ± 130"),
        (0.5, 0.0996, "0.50 ± 0.10"),
        (0.5, 9.91, "0 ± 10"),
        (3.0, 0.0, "3.00"),
    ],
)
def test_a_value_and_its_uncertainty_are_said_to_the_same_place(value: float, uncertainty: float, text: str) -> None:
    assert with_uncertainty(value, "V", uncertainty) == text


def test_a_level_has_two_decimals_at_most_and_its_uncertainty_is_rounded_up() -> None:
    assert with_uncertainty(0.62965, "dB", 0.00011) == "0.63 ± 0.01"
    assert with_uncertainty(0.62965, "dB", 0.041) == "0.63 ± 0.05"
    assert with_uncertainty(0.62965, "dB", 0.41) == "0.63 ± 0.41"


@given(uncertainties)
@example(0.05)
@example(0.1 + 0.2)
@example(0.995)
def test_an_uncertainty_is_never_rounded_down_and_has_at_most_two_digits(uncertainty: float) -> None:
    said = plus_minus(uncertainty, "%").removeprefix("± ")
    finest = max(uncertainty, 1e-5)  # nothing is written as known better
    assert finest <= read(said) < 1.1 * finest
    after_two = digits(said)[2:]
    assert not after_two or ("." not in said and set(after_two) == {"0"})


@given(values, uncertainties)
def test_a_value_is_rounded_to_the_place_of_its_uncertainty(value: float, uncertainty: float) -> None:
    text = figure(value, "µs", uncertainty)
    said = plus_minus(uncertainty, "µs").removeprefix("± ")
    step = max(10.0 ** (math.floor(math.log10(read(said))) - 1), 1e-5)  # no place beyond the fifth is written
    assert len(text.partition(".")[2]) == len(said.partition(".")[2])
    assert abs(read(text) - value) <= 0.501 * step + 1e-9 * abs(value)


@given(values.filter(bool), bounds)
@example(0.000440744, "at most")
@example(-93.47, "at least")
def test_a_bound_stays_true_and_has_three_digits(value: float, bound: Bound) -> None:
    said = figure(value, "dB", bound=bound).removeprefix(f"{bound} ")
    assert read(said) <= value if bound == "at least" else read(said) >= value
    assert abs(read(said) - value) <= 0.01 * abs(value)
    assert len(digits(said).rstrip("0")) <= 3


@pytest.mark.parametrize(
    ("value", "bound", "text"),
    [
        (0.000440744, "at most", "at most 0.000441"),
        (52.06, "at least", "at least 52.0"),
        (-93.47, "at most", "at most −93.4"),
        (-93.47, "at least", "at least −93.5"),
        (99.96, "at most", "at most 100"),
        (9.996, "at most", "at most 10.0"),
        (1234.0, "at most", "at most 1240"),
        (0.0, "at least", "at least 0"),
    ],
)
def test_bounds(value: float, bound: Bound, text: str) -> None:
    assert figure(value, "%", bound=bound) == text


@given(values, st.one_of(st.just(0.0), uncertainties), st.one_of(st.none(), bounds), st.booleans())
def test_the_sign_is_that_of_the_value_and_nothing_is_less_than_zero_by_a_sign_alone(
    value: float, uncertainty: float, bound: Bound | None, sign: bool
) -> None:
    text = figure(value, "dB", uncertainty, bound=bound, sign=sign).removeprefix(f"{bound} ")
    assert "-" not in text
    if not digits(text):
        assert text[0] not in "+−"
    else:
        assert text.startswith("−") == (value < 0)
        assert text.startswith("+") == (sign and value > 0)
        assert read(text) * value > 0


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [(3.0, "1", "3"), (0.0421, "%", "0.042"), (-12.034, "dBFS", "−12.03")],
)
def test_a_figure_without_an_uncertainty_has_the_decimals_of_its_unit(value: float, unit: str, text: str) -> None:
    assert figure(value, unit) == text


@pytest.mark.parametrize(
    ("unit", "tolerance", "places"),
    [
        ("dB", 0.5, 1),
        ("dB", 2.0, 1),
        ("dB", 0.45, 2),
        ("dB", 0.1, 2),
        ("%", 0.2, 2),
        ("µs", 6.0, 0),
        ("dB", None, 1),
        ("%", None, 2),
    ],
)
def test_a_figure_that_moves_shows_a_fifth_of_the_tolerance(unit: str, tolerance: float | None, places: int) -> None:
    assert live_decimals(unit, tolerance) == places


def test_numbers_have_a_true_minus_and_no_minus_zero() -> None:
    assert number(-12.34, 1) == "−12.3"
    assert number(-0.04, 1) == "0.0"
    assert number(3.0, 0, sign=True) == "+3"
    assert number(-1234.0, -2) == "−1200"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (-12.0, "−12"),
        (0.25, "0.25"),
        (1250.0, "1250"),
        (0.77512, "0.77512"),
        (-0.0005, "−0.0005"),
        (0.1 + 0.2, "0.3"),
        (1000000.0, "1000000"),
        (-0.0, "0"),
    ],
)
def test_numbers_are_said_as_they_were_given(value: float, text: str) -> None:
    assert as_given(value) == text


def test_frequencies_and_levels() -> None:
    assert [hertz(hz) for hz in (3.3, 40, 315, 1000, 3150, 12500)] == [
        "3.3 Hz",
        "40 Hz",
        "315 Hz",
        "1 kHz",
        "3.15 kHz",
        "12.5 kHz",
    ]
    assert [hertz(hz) for hz in (999.94, 999.96, 3149.812)] == ["999.9 Hz", "1 kHz", "3.15 kHz"]
    assert [hertz_tick(hz) for hz in (0.2, 125.0, 1000.0, 12500.0)] == ["0.2", "125", "1k", "12.5k"]
    assert [decibels(db) for db in (-20.0, 0.0, 3.0)] == ["−20 dB", "0 dB", "+3 dB"]
    assert [tone(10000, -20.0), tone(315, None), tone(None, None)] == ["10 kHz, −20 dB", "315 Hz", ""]


def test_turns_are_said_by_the_clock() -> None:
    assert [rotation(14.2), rotation(-7.8)] == ["14° clockwise", "8° anticlockwise"]


@pytest.mark.parametrize(
    ("mm_s", "said"),
    [
        # IEC 60094-1 and the trade's names of these speeds, from memory
        (47.625, "4.76 cm/s (1⅞ ips)"),
        (95.25, "9.5 cm/s (3¾ ips)"),
        (190.5, "19 cm/s (7½ ips)"),
        (381.0, "38 cm/s (15 ips)"),
        (762.0, "76 cm/s (30 ips)"),
    ],
)
def test_a_tape_speed_is_said_as_the_trade_says_it(mm_s: float, said: str) -> None:
    assert tape_speed(mm_s) == said
