"""The verdict rule: in, out, too close to call, no reading."""

from __future__ import annotations

from typing import Literal, get_args

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from bench.measure.reading import NoReading, Reading
from bench.measure.verdict import Verdict, VerdictWord
from bench.procedure.model.targets import Band, Flux, Target, judge, target_words
from bench.tape.fluxivity import Fluxivity

Bound = Literal["at least", "at most"]
HALF_DB = Target(unit="dB", tolerance=0.5, source="common practice, no source")


def reading(value: float, uncertainty: float = 0.1, hz: float | None = None, bound: Bound | None = None) -> Reading:
    return Reading("response", "left", value, uncertainty, frequency_hz=hz, bound=bound)


EIGHTHS = st.integers(-24, 24).map(lambda n: n / 8)
"""Binary fractions add up without rounding, so that the rule alone decides values on a limit."""
NEVER_NEGATIVE = st.integers(0, 24).map(lambda n: n / 8)
POSITIVE = st.integers(1, 24).map(lambda n: n / 8)


@given(v=EIGHTHS, u=NEVER_NEGATIVE, value=EIGHTHS, tolerance=POSITIVE, offset=EIGHTHS)
@example(v=0.5, u=0.0, value=0.0, tolerance=0.5, offset=0.0)
@example(v=0.75, u=0.25, value=0.0, tolerance=0.5, offset=0.0)
def test_in_is_wholly_inside_the_tolerance_and_out_wholly_outside(
    v: float, u: float, value: float, tolerance: float, offset: float
) -> None:
    # JCGM 106:2012, 8.3.2 (guarded acceptance) and 8.3.3 (guarded rejection), the guard band being U: from memory.
    target = Target(unit="dB", value=value, tolerance=tolerance, source="a manual")
    aim = value + offset
    inside = aim - tolerance <= v - u and v + u <= aim + tolerance
    outside = v + u < aim - tolerance or aim + tolerance < v - u
    word: VerdictWord = "in" if inside else "out" if outside else "too close to call"
    verdict = judge(reading(v, u), target, offset=offset)
    assert verdict == Verdict(word=word, target=aim, tolerance=tolerance, source="a manual")


@given(v=EIGHTHS, u=NEVER_NEGATIVE, limit=EIGHTHS, offset=EIGHTHS)
@example(v=0.5, u=0.25, limit=0.25, offset=0.0)
@example(v=0.0, u=0.25, limit=0.25, offset=0.0)
def test_in_is_wholly_above_the_least_and_out_wholly_below(v: float, u: float, limit: float, offset: float) -> None:
    aim = limit + offset
    word: VerdictWord = "in" if v - u >= aim else "out" if v + u < aim else "too close to call"
    verdict = judge(reading(v, u), Target(unit="dB", at_least=limit, source="a manual"), offset=offset)
    assert verdict == Verdict(word=word, target=aim, source="a manual", limit="at least")


@given(v=EIGHTHS, u=NEVER_NEGATIVE, limit=EIGHTHS, offset=EIGHTHS)
@example(v=0.0, u=0.25, limit=0.25, offset=0.0)
@example(v=0.5, u=0.25, limit=0.25, offset=0.0)
def test_in_is_wholly_below_the_most_and_out_wholly_above(v: float, u: float, limit: float, offset: float) -> None:
    aim = limit + offset
    word: VerdictWord = "in" if v + u <= aim else "out" if v - u > aim else "too close to call"
    verdict = judge(reading(v, u), Target(unit="dB", at_most=limit, source="a manual"), offset=offset)
    assert verdict == Verdict(word=word, target=aim, source="a manual", limit="at most")


@given(v=EIGHTHS, u=NEVER_NEGATIVE, known_to=POSITIVE)
def test_the_targets_own_uncertainty_counts_beside_the_readings(v: float, u: float, known_to: float) -> None:
    # Root sum of squares of both, being independent (GUM 5.1.2).
    limited = Target(unit="dB", at_least=0.0, source="-")
    for target in (HALF_DB, limited):
        known = target.model_copy(update={"known_to": known_to})
        assert judge(reading(v, u), known).word == judge(reading(v, (u**2 + known_to**2) ** 0.5), target).word


ANY = st.one_of(
    st.builds(lambda x, t: Target(unit="dB", value=x, tolerance=t, source="-"), EIGHTHS, POSITIVE),
    st.builds(lambda x: Target(unit="dB", at_least=x, source="-"), EIGHTHS),
    st.builds(lambda x: Target(unit="dB", at_most=x, source="-"), EIGHTHS),
)


@given(v=EIGHTHS, u=NEVER_NEGATIVE, target=ANY, beyond=NEVER_NEGATIVE, bound=st.sampled_from(get_args(Bound)))
def test_a_bound_is_never_called_against_a_truth_that_it_allows(
    v: float, u: float, target: Target, beyond: float, bound: Bound
) -> None:
    """Noise limits the reading: "at least 60 dB" may be 90 dB, so an exact reading of 90 dB must not contradict it."""
    word = judge(reading(v, u, bound=bound), target).word
    truth = v + beyond if bound == "at least" else v - beyond
    of_truth = judge(reading(truth, 0.0), target).word
    assert word in (of_truth, "too close to call")


@pytest.mark.parametrize(
    ("value", "bound", "target", "word"),
    [
        (65.0, "at least", Target(unit="dB", at_least=60.0, source="-"), "in"),
        (55.0, "at least", Target(unit="dB", at_least=60.0, source="-"), "too close to call"),
        (55.0, "at most", Target(unit="dB", at_least=60.0, source="-"), "out"),
        (65.0, "at most", Target(unit="dB", at_least=60.0, source="-"), "too close to call"),
        (-70.0, "at most", Target(unit="dB", at_most=-60.0, source="-"), "in"),
        (-50.0, "at most", Target(unit="dB", at_most=-60.0, source="-"), "too close to call"),
        (-50.0, "at least", Target(unit="dB", at_most=-60.0, source="-"), "out"),
        (0.2, "at least", HALF_DB, "too close to call"),
        (0.2, "at most", HALF_DB, "too close to call"),
        (9.0, "at least", HALF_DB, "out"),
        (-9.0, "at most", HALF_DB, "out"),
    ],
)
def test_what_is_known_from_one_side_only(value: float, bound: Bound, target: Target, word: str) -> None:
    assert judge(reading(value, 0.0, bound=bound), target).word == word


@pytest.mark.parametrize(
    ("aim", "tolerance", "word"),
    [(0.0, 0.5, "in"), (0.25, 0.25, "in"), (0.3, 0.2, "too close to call"), (0.8, 0.5, "out")],
)
def test_harmonics_that_noise_hides_are_not_below_none(aim: float, tolerance: float, word: str) -> None:
    """At most 0.25 %: from 0 to 0.25 %, for a share is never negative."""
    hidden = Reading("third_harmonic", "left", 0.25, 0.0, bound="at most")
    assert judge(hidden, Target(unit="%", value=aim, tolerance=tolerance, source="-")).word == word


@pytest.mark.parametrize(
    ("target", "expected"),
    [
        (HALF_DB, Verdict(word="no reading", target=0.0, tolerance=0.5, source=HALF_DB.source)),
        (
            Target(unit="dB", at_least=60.0, source="a manual"),
            Verdict(word="no reading", target=60.0, source="a manual", limit="at least"),
        ),
    ],
)
def test_without_a_value_there_is_no_verdict(target: Target, expected: Verdict) -> None:
    assert judge(NoReading("response", "left", "silence"), target) == expected


def test_a_count_is_exact() -> None:
    none_or_one = Target(unit="1", at_most=1.0, source="-")
    assert judge(Reading("dropout_count", "left", 1.0, 0.0), none_or_one).word == "in"
    assert judge(Reading("dropout_count", "left", 2.0, 0.0), none_or_one).word == "out"


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


def test_a_frequency_in_no_band_has_the_tolerance_for_all_or_no_verdict() -> None:
    assert judge(reading(0.0, hz=20.0), BANDS) == Verdict(word="no reading", target=0.0, source=BANDS.source)
    assert judge(reading(0.0, hz=40.0), BANDS).tolerance == 3.0
    else_4 = BANDS.model_copy(update={"tolerance": 4.0})
    assert [else_4.tolerance_at(hz) for hz in (20.0, 1000.0, None)] == [4.0, 2.0, 4.0]
    assert HALF_DB.tolerance_at(20.0) == 0.5


def test_a_tone_belongs_to_the_band_that_ends_at_it_though_the_tape_runs_a_little_off() -> None:
    # 0.05 % is a usual speed error of a good machine; at 0.2 % it is a different tone.
    assert [BANDS.tolerance_at(hz) for hz in (39.98, 12506.0)] == [3.0, 3.0]
    assert [BANDS.tolerance_at(hz) for hz in (39.92, 12525.0)] == [None, None]


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


def test_what_it_was_known_to_counts_beside_the_methods() -> None:
    # Root sum of squares (GUM 5.1.2): 0.15 and 0.2 dB make 0.25 dB.
    known = HOLDS.model_copy(update={"known_to": 0.2})
    assert known.re(Fluxivity(185.0, "ANSI")).known_to == pytest.approx(0.25)


def test_a_figure_that_is_not_to_be_exceeded_moves_too() -> None:
    most = Target(unit="dB", at_most=-50.0, reference=Flux(nwb_m=320.0, method="DIN"), source="data sheet")
    here = most.re(Fluxivity(250.0, "DIN"))
    assert here.at_least is None
    assert here.at_most == pytest.approx(-47.856, abs=0.001)


@pytest.mark.parametrize(
    ("target", "said"),
    [
        (Target(unit="dBFS", value=-12.0, tolerance=0.5, source="a manual"), "−12 ± 0.5 dBFS"),
        (Target(unit="dB", at_least=60.0, source="a manual"), "at least 60 dB"),
        (Target(unit="%", at_most=0.15, source="a manual"), "at most 0.15 %"),
        (
            Target(
                unit="dB", tolerance=1.0, bands=(Band(from_hz=8000, to_hz=12500, tolerance=3.0),), source="a manual"
            ),
            "0 ± 3 dB from 8 kHz to 12.5 kHz, ± 1 dB elsewhere",
        ),
        (
            Target(
                unit="dB",
                bands=(
                    Band(from_hz=30, to_hz=18000, tolerance=2.0),
                    Band(from_hz=60, to_hz=15000, tolerance=1.0),
                ),
                source="a manual",
            ),
            "0 ± 1 dB from 60 Hz to 15 kHz, ± 2 dB from 30 Hz to 18 kHz",
        ),
    ],
)
def test_a_target_in_words(target: Target, said: str) -> None:
    assert target_words(target) == said
