"""A found tone's readings, and a long one put together from its parts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bench.measure.reading import NoReading
from bench.measure.tone.estimate import ChannelTone, PhasePair
from bench.measure.tone.finding.finder import without_pieces
from bench.measure.tone.finding.found_tone import FoundTone, joined, side_of
from tests.results import a_reading


def found(start: float, end: float, amplitude: float, hz: float = 1000.0, lag: float = 0.1) -> FoundTone:
    tone = ChannelTone(amplitude, 1e-4, hz, 1e-3)
    return FoundTone(start, end, hz, 1e-3, (tone, tone), PhasePair(lag, 1e-3, hz, 0.0, 1e-3))


def test_readings_of_level_and_balance() -> None:
    left, right = ChannelTone(0.1, 1e-4, 1000.0, 1.0), ChannelTone(0.05, 1e-4, 1000.0, 1.0)
    tone = FoundTone(0.0, 1.0, 1000.0, 1.0, (left, right), None)
    assert [r.channel for r in tone.levels] == ["left", "right"]
    assert a_reading(tone.levels[0]).value == pytest.approx(-20.0)
    assert tone.level(0, 999.0).frequency_hz == 999.0
    assert tone.balance is not None
    assert a_reading(tone.balance).value == pytest.approx(6.0206)
    assert tone.dbfs == pytest.approx(-20.0)


def test_a_channel_without_the_tone_says_so() -> None:
    left, right = ChannelTone(0.1, 1e-4, 1000.0, 1.0), ChannelTone(0.0, 1e-4, 1000.0, 1.0, present=False)
    tone = FoundTone(0.0, 1.0, 1000.0, 1.0, (left, right), None)
    assert isinstance(tone.levels[1], NoReading)
    assert "no tone" in (tone.levels[1].reason or "")
    assert tone.balance is not None
    assert isinstance(tone.balance, NoReading)


def test_parts_count_by_their_length() -> None:
    whole = joined([found(0, 60, 0.1, 1000.0), found(60, 90, 0.13, 1003.0, lag=0.4)])
    assert whole.tones[0].amplitude == pytest.approx(0.11)
    assert whole.frequency_hz == pytest.approx(1001.0)
    assert (whole.start_s, whole.end_s) == (0, 90)
    assert whole.pair is not None
    assert whole.pair.lag_rad == pytest.approx(0.2, abs=0.01)
    assert whole.pair.weave_rad == pytest.approx(0.3 * np.sqrt(2.0) / 3.0, abs=0.005)


def test_one_part_in_which_the_noise_is_misjudged_makes_no_mono_input() -> None:
    parts = [
        replace(found(10.0 * n, 10.0 * n + 9.0, 0.1), pair=PhasePair(0.1, 1e-3, 1000.0, 0.0, 0.0, 0.0)) for n in (0, 1)
    ]
    copy = [replace(p, pair=replace(p.pair, copied=True)) for p in parts if p.pair is not None]
    for both, copied in (([*parts], False), ([parts[0], copy[1]], False), (copy, True)):
        pair = joined(both).pair
        assert pair is not None
        assert pair.copied is copied


def test_sides() -> None:
    assert (side_of(0, 1), side_of(0, 2), side_of(1, 2)) == ("mono", "left", "right")


def test_a_piece_of_a_tone_is_no_tone_beside_it() -> None:
    piece, whole, later = found(3.0, 3.7, 0.1, 1000.5), found(1.0, 6.0, 0.1), found(7.0, 9.0, 0.1)
    beside = found(3.0, 3.7, 0.1, 1100.0)
    assert without_pieces([piece, whole, beside, later]) == [whole, beside, later]
