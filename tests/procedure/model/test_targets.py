"""The verdict rule: in, out, too close to call, no reading."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.measure.reading import Reading, no_reading
from bench.procedure.model.targets import Band, Flux, Target, judge
from bench.tape.fluxivity import Fluxivity

HALF_DB = Target(unit="dB", tolerance=0.5, source="common practice, no source")


def reading(value: float, uncertainty: float | None = 0.1, hz: float | None = None) -> Reading:
    return Reading("response", "left", value, uncertainty, frequency_hz=hz)


@pytest.mark.parametrize(
    ("value", "word"),
    [
        (0.0, "in"),
        (0.4, "in"),
        (0.41, "too close to call"),
        (-0.45, "too close to call"),
        (0.59, "too close to call"),
        (0.61, "out"),
        (-3.0, "out"),
    ],
)
def test_value_with_its_uncertainty_against_the_tolerance(value: float, word: str) -> None:
    assert judge(reading(value), HALF_DB).word == word


def test_without_value_or_uncertainty_there_is_no_verdict() -> None:
    assert judge(no_reading("response", "left", "silence"), HALF_DB).word == "no reading"
    assert judge(reading(0.0, None), HALF_DB).word == "no reading"


def test_offset_moves_the_target() -> None:
    verdict = judge(reading(-12.1), HALF_DB, offset=-12.0)
    assert (verdict.word, verdict.target) == ("in", -12.0)


def test_a_bound_can_be_in_but_never_out() -> None:
    bound = Reading("separation", "left", 9.0, 0.1, bound="at least")
    assert judge(bound, HALF_DB).word == "too close to call"


BANDS = Target(
    unit="dB",
    bands=(
        Band(from_hz=40.0, to_hz=12500.0, tolerance=3.0),
        Band(from_hz=63.0, to_hz=10000.0, tolerance=2.0),
    ),
    source="common practice, no source",
)


@pytest.mark.parametrize(
    ("hz", "tolerance"), [(40, 3.0), (63, 2.0), (1000, 2.0), (10000, 2.0), (12500, 3.0), (20, None)]
)
def test_the_narrowest_band_that_holds_the_frequency_counts(hz: float, tolerance: float | None) -> None:
    assert BANDS.tolerance_at(hz) == tolerance


@given(st.floats(-10, 10), st.floats(0, 5), st.floats(0.01, 5))
def test_a_verdict_holds_for_every_value_within_the_uncertainty(v: float, u: float, tolerance: float) -> None:
    word = judge(reading(v, u), Target(unit="dB", tolerance=tolerance, source="-")).word
    could_be = [v - u, v, v + u]
    if word == "in":
        assert all(abs(x) <= tolerance + 1e-9 for x in could_be)
    if word == "out":
        assert all(abs(x) > tolerance - 1e-9 for x in could_be)


HOLDS = Target(unit="dB", at_least=6.0, reference=Flux(nwb_m=320.0, method="DIN"), source="data sheet")


def test_a_tapes_figure_is_told_re_the_machines_reference_level() -> None:
    # 20 lg(320/250) = 2.144 dB: the ratio of two fluxivities (definition of the decibel).
    here = HOLDS.re(Fluxivity(250.0, "DIN"))
    assert here.at_least == pytest.approx(8.144, abs=0.001)
    assert (here.reference, here.known_to) == (None, 0.0)
    assert here.source == "data sheet; 6 dB re 320 nWb/m (DIN)"
    assert HOLDS.re(Fluxivity(320.0, "DIN")).at_least == 6.0
    assert HALF_DB.re(Fluxivity(250.0, "DIN")) is HALF_DB


def test_by_another_method_it_is_known_less_well() -> None:
    # 320 nWb/m (DIN) is 293.5 (ANSI): 20 lg(218/200) = 0.75 dB, from memory. 20 lg(293.5/185) = 4.01 dB.
    here = HOLDS.re(Fluxivity(185.0, "ANSI"))
    assert here.at_least == pytest.approx(10.01, abs=0.01)
    assert here.known_to == pytest.approx(0.15)
    sure = here.model_copy(update={"known_to": 0.0})
    assert (judge(reading(10.13), sure).word, judge(reading(10.13), here).word) == ("in", "too close to call")
    assert judge(reading(10.0 - 0.25), here).word == "out"


def test_how_well_a_target_is_known_counts_in_its_verdict() -> None:
    known = HALF_DB.model_copy(update={"known_to": 0.3})
    assert (judge(reading(0.3), HALF_DB).word, judge(reading(0.3), known).word) == ("in", "too close to call")
