"""What a person is told while a trimmer is turned."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from bench.measure.reading import NoReading, Reading
from bench.procedure.kinds.adjust.guidance import RecentReadings, Trend, TurnGuide, advised, wanders_too_much
from bench.procedure.kinds.adjust.running_average import RunningAverage
from bench.procedure.model.targets import Target, judge
from bench.procedure.state.snapshot import Gauge

TARGET = Target(value=0.0, unit="dB", tolerance=0.5, source="common practice, no source")


def tell(guide: TurnGuide, value: float, trend: Trend) -> str:
    reading = Reading("record_replay_level", "left", value, 0.02)
    return guide.direction(reading, judge(reading, TARGET), trend)


def turned() -> TurnGuide:
    guide = TurnGuide()
    guide.turned()
    return guide


def test_how_far_and_which_way_the_reading_has_to_go() -> None:
    assert tell(TurnGuide(), -1.2, "steady") == "raise by 1.2 dB"
    assert tell(TurnGuide(), 3.0, "steady") == "lower by 3.0 dB"
    assert tell(TurnGuide(), 0.03, "steady") == "hold"


def test_the_way_to_go_has_no_more_places_than_the_figure() -> None:
    """At azimuth: a reading of 16 µs, and "lower by 15.59 µs" under it."""
    azimuth = Target(value=0.0, unit="µs", tolerance=40.0, source="common practice, no source")
    reading = Reading("azimuth_delay", "left-right", 15.59, 2.0)
    assert TurnGuide().direction(reading, judge(reading, azimuth), "steady") == "lower by 16 µs"


def test_the_other_way_when_it_runs_away_and_not_before_it_moved() -> None:
    guide = turned()
    assert tell(guide, -2.0, "falling") == "raise by 2.0 dB"  # its start is unknown
    tell(guide, -2.0, "steady")
    assert tell(guide, -2.02, "falling") == "raise by 2.0 dB"  # noise is no turn
    assert tell(guide, -2.4, "falling") == "turn the other way"
    assert tell(guide, -2.6, "steady") == "the other way: raise by 2.6 dB"
    assert tell(guide, -2.0, "rising") == "raise by 2.0 dB"  # that was the right way
    assert tell(guide, -1.5, "steady") == "raise by 1.5 dB"


def test_a_reading_that_moves_with_nothing_turned_went_no_wrong_way() -> None:
    guide = TurnGuide()
    tell(guide, -2.0, "steady")
    assert tell(guide, -2.6, "steady") == "raise by 2.6 dB"


def test_small_turns_back_from_a_wrong_one_add_up_to_the_right_way() -> None:
    guide = turned()
    tell(guide, -2.0, "steady")
    assert tell(guide, -2.6, "steady") == "the other way: raise by 2.6 dB"
    assert tell(guide, -2.56, "steady") == "the other way: raise by 2.6 dB"  # no more than noise
    assert tell(guide, -2.52, "steady") == "raise by 2.5 dB"


def test_nothing_is_the_wrong_way_while_the_reading_is_in() -> None:
    guide = turned()
    tell(guide, -0.2, "steady")
    assert tell(guide, -0.3, "steady") == "raise by 0.3 dB"


def test_slowly_when_it_comes_near_and_the_other_way_past_it() -> None:
    guide = turned()
    tell(guide, -3.0, "steady")
    assert tell(guide, -2.0, "rising") == "raise by 2.0 dB"
    assert tell(guide, -0.6, "rising") == "slowly: raise by 0.6 dB"
    assert tell(guide, 0.01, "rising") == "hold"
    assert tell(guide, 0.6, "rising") == "turn the other way"


def test_a_trend_is_told_from_the_last_moments() -> None:
    recent = RecentReadings()
    assert recent.trend(0.0, 0.05) == ""
    for n in range(20):
        recent.add(n / 10, 1.0)
    assert recent.trend(1.9, 0.05) == "steady"
    for n in range(20, 26):
        recent.add(n / 10, 1.0 + 0.1 * (n - 19))
    assert recent.trend(2.5, 0.05) == "rising"
    recent.add(100.0, 0.0)
    assert len(recent.points) == 1


@pytest.mark.parametrize("trend", ["", "rising", "falling", "steady"])
def test_nothing_is_said_of_no_reading(trend: Trend) -> None:
    reading = NoReading("level", "left", "no tone sounds")
    assert TurnGuide().direction(reading, judge(reading, TARGET), trend) == ""


@pytest.mark.parametrize(
    ("unit", "tolerance", "off", "advice"),
    [
        ("dB", 3.0, 0.5, "turn"),
        ("dB", 3.0, 0.2, "hold"),
        ("dB", 0.5, 0.2, "turn"),
        ("dB", 0.5, 0.1, "hold"),
        ("µs", 40.0, 9.0, "hold"),
        ("µs", 40.0, 11.0, "turn"),
    ],
)
def test_a_wide_tolerance_in_db_does_not_leave_a_trimmer_far_from_its_target(
    unit: str, tolerance: float, off: float, advice: str
) -> None:
    """Common practice, no source: ±3 dB at 12.5 kHz is accepted, but nobody leaves half a decibel that can be set."""
    quantity = "response" if unit == "dB" else "azimuth_delay"
    reading = Reading(quantity, "left", off, 0.05)
    average = RunningAverage(0.01)
    for tenth in range(31):
        average.add(tenth / 10, off)
    verdict = judge(reading, Target(value=0.0, unit=unit, tolerance=tolerance, source="common practice, no source"))
    gauge = Gauge(channel="left", label="", reading=reading, verdict=verdict, trend="steady", direction="", trimmer="")
    assert advised(gauge, average, 3.0)[0] == advice


def test_treble_within_a_wide_tolerance_is_looked_at_until_it_is_known() -> None:
    """A short look at a restless 10 kHz is 0.2 dB off, give or take 0.6 dB: the error would be in every recording."""
    average = RunningAverage(0.6)
    for tenth in range(31):
        average.add(tenth / 10, 0.2)
    assert average.uncertainty == pytest.approx(0.65, abs=0.1)
    reading = Reading("response", "left", 0.2, average.uncertainty)
    verdict = judge(reading, Target(value=0.0, unit="dB", tolerance=3.0, source="common practice, no source"))
    gauge = Gauge(channel="left", label="", reading=reading, verdict=verdict, trend="steady", direction="", trimmer="")
    assert verdict.word == "in"
    advice, look_s = advised(gauge, average, 3.0)
    assert (advice, look_s > 3.0) == ("look", True)


def test_a_reading_that_wanders_by_more_than_its_tolerance_is_not_chased() -> None:
    """A belt that slips makes the speed swing by 0.8 % in half a minute: ±0.2 % is out of reach of any trimmer."""
    average = RunningAverage(0.006)
    target = Target(value=0.0, unit="%", tolerance=0.2, source="common practice, no source")

    def gauge() -> Gauge:
        reading = Reading("speed_error", "both", average.mean or 0.0, average.uncertainty)
        verdict = judge(reading, target)
        made = Gauge(channel="both", label="", reading=reading, verdict=verdict, trend="", direction="", trimmer="")
        return replace(made, band=average.band)

    asked = []
    for tenth in range(1800):
        average.add(tenth / 10, 0.8 * math.sin(2 * math.pi * tenth / 320) - 0.1)
        if tenth > 600:
            asked.append(advised(gauge(), average, tenth / 10)[0])
    assert set(asked) == {"hold"}
    assert wanders_too_much(gauge())
