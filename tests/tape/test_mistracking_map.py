"""Mistracking against the rules of the trade, and against the decoder itself fed with tones."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.problem import Problem
from bench.tape.mistracking_map import (
    FREQUENCIES_HZ,
    LEVELS_DB,
    ReplayErrors,
    mistracking_db,
    mistracking_map,
    worst_map,
)
from bench.tape.noise_reduction import System, decode, encode
from tests.cases import cases

RATE = 48000


def test_2_db_low_is_inside_and_6_db_low_is_not() -> None:
    # Common practice, no source: 2 dB low is what most listeners do not hear as wrong, 6 dB low is plainly wrong; ±3 dB
    # is accepted. Level alone has no response error, so all that is heard is mistracking.
    low, lower = mistracking_map("type-b", ReplayErrors(-2.0)), mistracking_map("type-b", ReplayErrors(-6.0))
    assert (low.verdict, lower.verdict) == ("in", "out")
    assert low.worst_db == pytest.approx(-2.65, abs=0.05)
    assert lower.worst_db == pytest.approx(-6.35, abs=0.05)


def test_level_errors_are_heard_at_middle_levels() -> None:
    # Common practice, no source: middle and high frequencies, -15 to -30 dB; almost nothing near 0 dB or below -40.
    found = mistracking_map("type-b", ReplayErrors(-4.0))
    by_level = np.abs(found.mistracking_db).max(axis=1)
    at = dict(zip(LEVELS_DB, by_level, strict=True))
    assert max(at, key=lambda db: at[db]) in (-14.0, -15.0, -16.0, -17.0, -18.0, -19.0, -20.0)
    assert at[0.0] < 0.6
    assert max(at[db] for db in LEVELS_DB if db < -44) < 0.2
    assert np.abs(found.mistracking_db[:, [FREQUENCIES_HZ.index(hz) for hz in (40.0, 80.0)]]).max() < 0.2


def test_lost_treble_is_duller_decoded_than_undecoded() -> None:
    # Common practice, no source, that it is; the figures are those published with the fit: 10 dB of loss at 10 kHz
    # becomes 13.2, 17.7, 13.4 and 10.1 dB at -10, -20, -30 and -40 dB.
    errors = ReplayErrors(0.0, ((10000.0, -10.0),))
    beyond = mistracking_db("type-b", 10000.0, [-10.0, -20.0, -30.0, -40.0], errors)
    assert beyond - 10.0 == pytest.approx([-13.2, -17.7, -13.4, -10.1], abs=0.1)
    found = mistracking_map("type-b", errors)
    assert found.verdict == "out"
    assert (round(found.worst_db, 1), found.worst_hz, found.worst_level_db) == (-17.9, 10000.0, -18.0)
    assert found.worst_mistracking_db == pytest.approx(-7.9, abs=0.05)
    assert found.worst_response_db == pytest.approx(-10.0)


def test_the_error_and_the_mistracking_are_heard_together() -> None:
    # Common practice, no source: -2 dB at 10 kHz with -0.5 dB of level is 5 dB down at -25 dB, and plainly dull.
    # Neither the error nor the mistracking alone is outside 3 dB.
    errors = ReplayErrors(-0.5, ((2000.0, -0.5), (4000.0, -1.5), (8000.0, -1.5), (10000.0, -2.0)))
    found = mistracking_map("type-b", errors)
    at = (LEVELS_DB.index(-25.0), FREQUENCIES_HZ.index(10000.0))
    assert found.heard_db[at] + errors.level_db == pytest.approx(-5.2, abs=0.05)
    assert found.mistracking_db[at] == pytest.approx(-2.7, abs=0.05)
    assert np.abs(found.mistracking_db).max() < 3.0
    assert found.verdict == "out"
    assert found.worst_db == pytest.approx(found.worst_response_db + found.worst_mistracking_db)


def test_a_lost_top_octave_is_not_judged() -> None:
    lost = ReplayErrors(0.0, ((10000.0, 0.0), (12500.0, -10.0)))
    found = mistracking_map("type-b", lost)
    assert found.verdict == "in"
    assert np.abs(found.heard_db).max() > 10.0


def by_the_loops(system: System, hz: float, db: float, error_db: float) -> float:
    """What the circuit adds: a tone is encoded, given the error, decoded, and measured by its discrete transform."""
    sent = 10 ** (db / 20) * np.sin(2 * np.pi * hz / RATE * np.arange(2 * RATE))[:, None]
    came = decode(encode(sent, RATE, system) * 10 ** (error_db / 20), RATE, system)
    window = np.hanning(RATE)
    before, after = (np.abs(np.fft.rfft(x[RATE:, 0] * window))[round(hz)] for x in (sent, came))
    return 20 * float(np.log10(after / before)) - error_db


@pytest.mark.parametrize("system", ["type-b", pytest.param("type-a", marks=pytest.mark.long)])
def test_the_decoder_itself_mistracks_by_as_much(system: System) -> None:
    # The circuit itself, sample by sample, not its static law.
    off = []
    for hz in (1000.0, 2500.0, 8000.0, 12500.0):
        for db in (-10.0, -20.0, -30.0, -40.0):
            for error_db in (-6.0, -2.0, 3.0):
                found = by_the_loops(system, hz, db, error_db)
                off.append(float(mistracking_db(system, hz, db, ReplayErrors(error_db))) - found)
    assert np.std(off) < 0.2
    assert np.abs(off).max() < 0.5


def test_many_tones_at_once_are_mistracked_by_no_more_than_one() -> None:
    """Eleven soft tones together: the middle and high ones come back duller, the low ones as they were."""
    hz = [125, 250, 500, 1000, 2000, 3150, 4000, 5000, 6300, 8000, 10000]
    rng = np.random.default_rng(4)
    t = np.arange(3 * RATE) / RATE
    tones = np.stack([np.sin(2 * np.pi * f * t + rng.uniform(0, 6)) for f in hz], axis=1)
    sent = tones.sum(axis=1, keepdims=True) * 10 ** (-30 / 20)
    came = decode(encode(sent, RATE, "type-b") * 10 ** (-4 / 20), RATE, "type-b")
    before, after = (np.abs(np.fft.rfft(x[RATE:, 0])) for x in (sent, came))
    added = {f: 20 * np.log10(after[2 * f] / before[2 * f]) + 4 for f in hz}
    worst = mistracking_map("type-b", ReplayErrors(-4.0)).worst_db
    assert worst - 0.5 < min(added.values()) < -4.0
    assert min(added, key=lambda f: added[f]) >= 3150
    assert abs(added[125]) < 0.1
    # Below its corner the side path leads by more than a quarter of a period, which lifts a little.
    assert max(added.values()) < 1.0


def test_a_treble_error_between_and_beyond_its_points() -> None:
    errors = ReplayErrors(-1.0, ((4000.0, -2.0), (8000.0, -6.0), (100.0, 3.0)))
    # 0 dB at 400 Hz; half way by log f to 4 kHz is 1264.9 Hz, and to 8 kHz 5656.9 Hz.
    assert errors.at([400.0, 1264.911, 4000.0, 5656.854, 8000.0, 16000.0]) == pytest.approx(
        [-1.0, -2.0, -3.0, -5.0, -7.0, -7.0], abs=1e-6
    )
    assert errors.at([200.0, 100.0, 40.0]) == pytest.approx([0.5, 2.0, 2.0])


def test_a_right_machine_adds_nothing() -> None:
    found = mistracking_map("type-a", ReplayErrors())
    assert np.abs(found.mistracking_db).max() < 1e-6
    assert found.verdict == "in"


@cases(15)
@given(st.floats(-12.0, 12.0), st.floats(-12.0, 12.0))
def test_a_flat_treble_error_is_a_level_error_beyond_its_point(level_db: float, treble_db: float) -> None:
    split = mistracking_db("type-b", 5000.0, -20.0, ReplayErrors(level_db, ((2000.0, treble_db),)))
    assert split == pytest.approx(mistracking_db("type-b", 5000.0, -20.0, ReplayErrors(level_db + treble_db)), abs=1e-9)


def test_an_uncertain_error_can_be_too_close_to_call() -> None:
    # The limit of ±3 dB is reached by about 2.3 dB of level error.
    assert mistracking_map("type-b", ReplayErrors(-2.0, uncertainty_db=0.1)).verdict == "in"
    assert mistracking_map("type-b", ReplayErrors(-2.3, uncertainty_db=0.5)).verdict == "too close to call"
    assert mistracking_map("type-b", ReplayErrors(-4.0, uncertainty_db=0.5)).verdict == "out"


@pytest.mark.parametrize("error_db", [-2.1, 2.1])
def test_it_is_called_in_only_where_it_is_so_at_both_ends_of_the_uncertainty(error_db: float) -> None:
    # 2.1 dB is inside, 2.6 dB is not; 4.5 dB is outside, as 4.0 and 5.0 are.
    found = mistracking_map("type-b", ReplayErrors(error_db, uncertainty_db=0.5))
    assert abs(found.worst_db) < 3.0
    assert found.verdict == "too close to call"
    beyond = mistracking_map("type-b", ReplayErrors(error_db * 4.5 / 2.1, uncertainty_db=0.5))
    assert beyond.verdict == "out"
    wide = mistracking_map("type-b", ReplayErrors(error_db, uncertainty_db=0.5), 4.0)
    assert (wide.verdict, wide.tolerance_db, wide.system) == ("in", 4.0, "type-b")


def test_the_uncertainty_of_the_worst_follows_from_that_of_the_errors() -> None:
    # The worst error changes by about 1.3 dB per dB of level error (-2.65 at -2, -3.9 at -3).
    found = mistracking_map("type-b", ReplayErrors(-2.0, uncertainty_db=0.1))
    ends = [mistracking_map("type-b", ReplayErrors(-2.0 + by)).worst_db for by in (-0.1, 0.1)]
    assert found.uncertainty_db == pytest.approx(max(abs(e - found.worst_db) for e in ends), abs=1e-9)
    assert 0.1 < found.uncertainty_db < 0.2
    assert mistracking_map("type-b", ReplayErrors(-2.0)).uncertainty_db == 0.0


def test_the_worst_of_two_channels() -> None:
    found = [mistracking_map("type-b", ReplayErrors(e)) for e in (1.0, -2.0)]
    assert worst_map(found) is found[1]


def test_the_uncertainty_of_the_response_is_heard_as_it_is() -> None:
    errors = ReplayErrors(0.0, ((10000.0, -1.0),), uncertainty_db=0.2, response_uncertainty_db=0.2)
    found = mistracking_map("type-b", errors)
    ends = [mistracking_map("type-b", ReplayErrors(0.0, ((10000.0, -1.0 + by),))).worst_db for by in (-0.2, 0.2)]
    # Shifted equally at all frequencies, not only at the top: within a tenth of a dB of the ends.
    assert found.uncertainty_db == pytest.approx(max(abs(e - found.worst_db) for e in ends), abs=0.1)
    level_alone = mistracking_map("type-b", ReplayErrors(0.0, ((10000.0, -1.0),), uncertainty_db=0.2))
    assert level_alone.uncertainty_db < found.uncertainty_db - 0.1


def test_a_worst_point_that_changes_sides_does_not_widen_its_own_uncertainty() -> None:
    """A bump of 1.9 dB in the bass is heard as 1.9 dB; 0.6 dB of doubt about level cannot make it 5 dB uncertain."""
    bump = ReplayErrors(
        0.1, ((40.0, 1.9), (63.0, 0.0), (1000.0, -0.2)), uncertainty_db=0.6, response_uncertainty_db=0.5
    )
    found = mistracking_map("type-b", bump)
    assert (found.worst_hz, round(found.worst_db, 1)) == (40.0, 1.9)
    assert 0.5 <= found.uncertainty_db < 1.0
    assert found.mistracking_uncertainty_db < 0.2
    assert found.verdict == "in"


@pytest.mark.parametrize(
    ("level_db", "treble", "said"),
    [
        (float("nan"), (), "an error of nan dB"),
        (-41.0, (), "give one from −40 to 40 dB"),
        (40.5, (), "give one from −40 to 40 dB"),
        (0.0, ((1000.0, -41.0),), "an error of −41 dB"),
        (0.0, ((0.5, -1.0),), "0.5 Hz: a treble error lies from"),
        (0.0, ((100000.5, -1.0),), "100000 Hz: a treble error lies from"),
        (0.0, ((400.0, -1.0),), "say it as a level error"),
        (0.0, ((4000.0, -1.0), (4000.0, -2.0)), "given twice"),
    ],
)
def test_impossible_errors_are_refused(level_db: float, treble: tuple[tuple[float, float], ...], said: str) -> None:
    with pytest.raises(Problem, match=said):
        ReplayErrors(level_db, treble)


def test_the_largest_errors_and_tolerances_are_accepted() -> None:
    assert ReplayErrors(-40.0, ((1.0, 40.0), (100000.0, -40.0))).at(0.5) == 0.0
    assert mistracking_map("type-b", ReplayErrors(), 40.0).verdict == "in"
    assert mistracking_map("type-b", ReplayErrors(-0.5), 0.1).verdict == "out"


@pytest.mark.parametrize("tolerance_db", [0.0, -1.0, 40.5, float("nan")])
def test_an_impossible_tolerance_is_refused(tolerance_db: float) -> None:
    with pytest.raises(Problem, match=f"a tolerance of {tolerance_db:g} dB"):
        mistracking_map("type-b", ReplayErrors(), tolerance_db)
