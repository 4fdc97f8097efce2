"""The pages of causes: what they say agrees with the trade's figures."""

from __future__ import annotations

import numpy as np
import pytest

from bench.diagnosis.causes.table import CAUSES
from bench.diagnosis.machine import Machine
from bench.diagnosis.output.cause_page import about
from bench.diagnosis.output.physics import PHYSICS
from bench.diagnosis.parameters import Figures, index, usual
from bench.diagnosis.tones import Tones, encoding_db
from bench.problem import Problem
from bench.tape.encoding_curves import TOLERANCE_DB, TYPE_B_DATA_SHEET


@pytest.mark.parametrize("name", PHYSICS)
def test_every_cause_has_a_page(name: str) -> None:
    page = about(name, Machine())
    assert page[0]
    assert not any("nan" in line for line in page)
    assert not any("nothing that any reading" in line for line in page), "also of dirt and of a magnetised head"


def test_a_film_of_1_um_costs_what_spacing_loss_says() -> None:
    """54.6 dB for each wavelength, which is 5.95 µm. Source: Wallace, Bell System Technical Journal, 1951."""

    vectors = np.repeat(usual()[0][None], 2, axis=0)
    vectors[1, index("film_left", 0)] = 1.0
    tones = Tones(Machine(), "after-cleaning", "reference-tape", np.array([8000.0]), np.array([-20.0]))
    read = tones.level_db(Figures(vectors))
    assert read[1, 0, 0] - read[0, 0, 0] == pytest.approx(-9.2, abs=0.05)


def test_the_other_equalisation_is_a_shelf_of_4_4_db_at_10_khz() -> None:
    """70 for 120 µs, 10 kHz re 315 Hz: 4.4 dB, from IEC 60094-1 clause 15."""
    page = about("equalisation-switch", Machine())
    line = next(line for line in page if "response, reference tape" in line)
    assert "10 kHz −4.4" in line


def test_what_an_encoder_adds_is_within_the_limits_of_its_data_sheet() -> None:
    """Component data sheet NTE2003: typical boosts of Type B, each ±1.5 dB; the point at 14 kHz is beyond the tones."""
    points = [point for point in TYPE_B_DATA_SHEET if point[0] < 14e3]
    hz, level, boost = (np.array(column) for column in zip(*points, strict=True))
    assert np.abs(encoding_db(hz, level) - boost).max() < TOLERANCE_DB


def test_like_causes_are_causes() -> None:
    names = {c.name for c in CAUSES}
    assert [(c.name, like) for c in CAUSES for like in c.like if like not in names] == []


def test_a_name_that_is_none_is_refused() -> None:
    with pytest.raises(Problem, match="no such cause"):
        about("gremlins", Machine())
