"""Which of the found tones is which of the wanted ones."""

from __future__ import annotations

import pytest

from bench.measure.tone.matching import better, common_speed, match_list, match_sheet, takes_of
from tests.measure.tone.finding.test_found_tone import found


def test_the_common_speed_is_what_most_tones_have() -> None:
    tones = [found(0, 1, 0.1, hz * 0.98) for hz in (315.0, 1000.0, 10000.0)] + [found(5, 6, 0.1, 1040.0)]
    assert common_speed(tones, (315.0, 1000.0, 10000.0)) == pytest.approx(0.98)
    assert common_speed([], (1000.0,)) == 1.0


def test_hum_is_not_the_tone_beside_it() -> None:
    tones = [found(0, 20, 0.002, 60.0), found(2, 3, 0.1, 63.4), found(4, 5, 0.1, 1006.0)]
    matched, _ = match_list(tones, (63.0, 1000.0))
    assert matched[63.0].tone is tones[1]


@pytest.mark.parametrize("hz", [63.0, 60.2])
def test_hum_is_not_a_tone_that_is_missing(hz: float) -> None:
    tones = [found(0, 20, 0.002, 60.0), found(2, 3, 0.1, 315.0), found(4, 5, 0.1, 1000.0)]
    matched, _ = match_list(tones, (hz, 315.0, 1000.0))
    assert matched[hz].tone is None


def test_takes_at_two_levels_can_not_be_told_without_a_sheet() -> None:
    tones = [found(0, 1, 0.1, 1000.0), found(2, 3, 0.01, 1000.0)]
    matched, _ = match_list(tones, (1000.0,))
    assert matched[1000.0].tone is None
    assert "two levels" in matched[1000.0].reason
    by_sheet, _ = match_sheet(tones, ((1000.0, 0.0), (1000.0, -20.0), (400.0, -20.0)), 1000.0)
    assert by_sheet[1000.0].tone is tones[1]
    assert by_sheet[1000.0].nominal_db == -20.0
    assert by_sheet[400.0].tone is None


def test_equal_levels_go_by_order() -> None:
    tones = [found(0, 1, 0.1, 1000.0), found(2, 3, 0.1, 1000.0), found(4, 5, 0.1, 315.0)]
    matched, _ = match_sheet(tones, ((1000.0, -20.0), (315.0, -20.0), (1000.0, -20.0)), 315.0)
    assert matched[1000.0].tone is tones[0]


def test_a_scrap_beside_a_long_take_does_not_count() -> None:
    tones = [found(0, 0.45, 0.02, 1000.0), found(2, 5, 0.1, 1000.0)]
    assert takes_of(tones, 1000.0, 1.0, (1000.0,)) == [tones[1]]
    assert better([tones[1], tones[0]]) is tones[1]
