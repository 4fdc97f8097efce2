"""Nominal encoding and decoding of steady tones, against a component data sheet."""

from __future__ import annotations

import pytest

from bench.tape.encoding_curves import boost_db, decoding_tones, encoding_tones, reference_level_db
from bench.tape.fluxivity import Fluxivity

# Component data sheet NTE2003 (read), typical: Hz, dB in, dB out.
SHEET = [
    (1300.0, -20.0, -15.7),
    (2500.0, -20.0, -15.9),
    (3000.0, -30.0, -21.2),
    (5000.0, -30.0, -21.8),
    (10000.0, 0.0, 0.5),
    (10000.0, -40.0, -29.6),
    (14000.0, -30.0, -23.9),
]


def test_the_tones_are_those_of_the_data_sheet() -> None:
    assert list(encoding_tones("type-b")) == [(hz, db) for hz, db, _ in SHEET]
    assert list(decoding_tones("type-b")) == [(hz, out) for hz, _, out in SHEET]


@pytest.mark.parametrize(("hz", "db", "out"), SHEET)
def test_the_boost_is_the_data_sheets(hz: float, db: float, out: float) -> None:
    assert boost_db("type-b", hz, db) == pytest.approx(out - db, abs=1e-9)


def test_beside_a_point_its_figure_is_carried_on_and_the_law_holds_elsewhere() -> None:
    # Data sheets of the same family, from memory: 2 kHz at -30 dB 8.5 dB; limits ±1.5 dB.
    assert boost_db("type-b", 2000.0, -30.0) == pytest.approx(8.5, abs=1.5)
    # Louder tones are boosted less: 4.3 dB at 1.3 kHz and -20 dB.
    assert boost_db("type-b", 1300.0, -19.0) < 4.3 < boost_db("type-b", 1300.0, -21.0)


def test_type_a_by_its_own_law() -> None:
    # From memory: 10 dB at low levels, up to 15 dB at the top; next to nothing at high levels.
    boosts = {tone: boost_db("type-a", *tone) for tone in encoding_tones("type-a")}
    assert all(7.5 < boosts[hz, -40.0] < 10.5 for hz in (63.0, 400.0, 1000.0, 5000.0))
    assert 10.5 < boosts[12500.0, -40.0] < 15.0
    assert boosts[1000.0, -20.0] < 0.5
    for (hz, db), (_, fed) in zip(encoding_tones("type-a"), decoding_tones("type-a"), strict=True):
        assert fed == pytest.approx(db + boosts[hz, db], abs=0.01)


def test_the_reference_level_beside_that_of_the_machine() -> None:
    # 200 nWb/m (ANSI) is about 218 by DIN: 20 lg(218/250) = -1.19 dB; 185 is 202 (from memory): 20 lg(202/320).
    assert reference_level_db(Fluxivity(250.0, "DIN"), "I") == pytest.approx(-1.19, abs=0.01)
    assert reference_level_db(Fluxivity(320.0, "DIN"), "open reel") == pytest.approx(-4.01, abs=0.01)
    assert reference_level_db(Fluxivity(185.0, "ANSI"), "open reel") == pytest.approx(0.0, abs=1e-9)
