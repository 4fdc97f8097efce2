"""Fluxivity ratios against printed relations."""

from __future__ import annotations

import pytest

from bench.tape.fluxivity import Fluxivity, convert_method, ratio_db


# 20 lg(φ/φref), computed; 250, 320 and 355 nWb/m are published reference levels.
@pytest.mark.parametrize(
    ("flux", "re", "db"),
    [(250.0, 185.0, 2.62), (250.0, 200.0, 1.94), (320.0, 250.0, 2.14), (355.0, 185.0, 5.66), (185.0, 320.0, -4.76)],
)
def test_ratio(flux: float, re: float, db: float) -> None:
    assert ratio_db(Fluxivity(flux, "DIN"), Fluxivity(re, "DIN")) == pytest.approx(db, abs=0.005)


def test_methods_are_never_mixed_in_silence() -> None:
    with pytest.raises(ValueError, match=r"200 nWb/m \(ANSI\) and 250 nWb/m \(DIN\)"):
        ratio_db(Fluxivity(200.0, "ANSI"), Fluxivity(250.0, "DIN"))


def test_200_by_ansi_is_218_by_din() -> None:
    # From memory: 218, and so 1.19 dB between 200 (ANSI) and 250 (DIN).
    din, uncertainty_db = convert_method(Fluxivity(200.0, "ANSI"), "DIN")
    assert din.nwb_m == pytest.approx(218.0, abs=0.1)
    assert ratio_db(Fluxivity(250.0, "DIN"), din) == pytest.approx(1.19, abs=0.01)
    assert uncertainty_db > 0


def test_there_and_back() -> None:
    there, _ = convert_method(Fluxivity(320.0, "DIN"), "ANSI")
    back, _ = convert_method(there, "DIN")
    assert there.nwb_m < 320.0
    assert back.nwb_m == pytest.approx(320.0)


def test_the_same_method_costs_nothing() -> None:
    assert convert_method(Fluxivity(250.0, "DIN"), "DIN") == (Fluxivity(250.0, "DIN"), 0.0)
