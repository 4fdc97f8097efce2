"""Over-bias on the curves of a recording head: the peak is found from either side and passed by the dB of the sheet.

The curves are those of the practice machine at three speeds, whose right bias is common practice: 10 kHz fallen past
its peak by about 6 dB at 190.5 mm/s, 3 dB at 381, 1.5 dB at 762 (no source).
"""

from __future__ import annotations

import numpy as np
import pytest

from bench.practice.media import MEDIA, recorded_level_db
from bench.procedure.kinds.adjust.bias_peak import BiasPeak, past_peak
from bench.procedure.kinds.adjust.overbias import OverbiasGuide

SPEEDS = ((190.5, 9.2, 6.0), (381.0, 9.2, 3.0))


def levels(bias_db: float, speed: float, zone_um: float) -> tuple[float, float]:
    """10 kHz, and 10 kHz beside 1 kHz."""
    high, low = recorded_level_db(np.array([10000.0, 1000.0]), speed, MEDIA["open reel"], zone_um, bias_db)
    return float(high), float(high - low)


def true_fall(bias_db: float, speed: float, zone_um: float) -> float:
    top = max(levels(b, speed, zone_um)[0] for b in np.arange(-9.0, 3.0, 0.02))
    return top - levels(bias_db, speed, zone_um)[0]


@pytest.mark.parametrize(("speed", "zone_um", "aim"), SPEEDS)
def test_guided_from_above_the_peak_down_and_past_it_again(speed: float, zone_um: float, aim: float) -> None:
    rng = np.random.default_rng(5)
    peak, bias = BiasPeak(), 1.0
    stages = []

    def read() -> float:
        level, treble = levels(bias, speed, zone_um)
        peak.add(level + rng.normal(0, 0.02), treble + rng.normal(0, 0.02))
        stages.append(peak.stage)
        return float(peak.top()[0] - level)

    read()
    while peak.stage == "below":
        bias -= 0.5
        read()
    while peak.stage == "rising":
        bias += 0.5
        read()
    fallen = 0.0
    while fallen < aim:
        bias += 0.2
        fallen = read()
    assert list(dict.fromkeys(stages)) == ["below", "rising", "past"]
    assert fallen == pytest.approx(true_fall(bias, speed, zone_um), abs=0.12)
    assert peak.top()[1] < 0.3


def test_a_fall_on_one_side_alone_is_no_peak() -> None:
    peak = BiasPeak()
    for bias in np.arange(2.0, -2.5, -0.5):  # the level only rises on the way down to the peak
        peak.add(*levels(bias, 381.0, 9.2))
    assert peak.stage == "below"
    assert BiasPeak().stage == "below"


@pytest.mark.parametrize("turned", [False, True])
def test_the_row_of_a_ladder_in_either_sense(turned: bool) -> None:
    row = list(np.arange(-7.0, 1.6, 0.7))
    if turned:
        row.reverse()
    read = [levels(b, 381.0, 9.2) for b in row]
    found = past_peak([v for v, _ in read], [t for _, t in read], 3.0)
    assert found is not None
    n = int(found[0])
    bias = row[n] + (found[0] - n) * (row[n + 1] - row[n])
    assert true_fall(bias, 381.0, 9.2) == pytest.approx(3.0, abs=0.15)


def test_a_row_without_the_peak_or_without_the_fall_names_nothing() -> None:
    for row in (np.arange(-2.0, 2.0, 0.5), np.arange(-8.0, -2.0, 0.5)):
        read = [levels(b, 381.0, 9.2) for b in row]
        assert past_peak([v for v, _ in read], [t for _, t in read], 3.0) is None


@pytest.mark.parametrize("start", [-6.0, -2.0, 0.5, 2.0])
@pytest.mark.parametrize(("sense", "play"), [(1.0, 0.0), (-1.0, 0.0), (1.0, 6.0), (-1.0, 6.0)])
def test_one_sweep_finds_the_peak_and_the_next_turn_leads_to_the_point_past_it(
    start: float, sense: float, play: float
) -> None:
    rng = np.random.default_rng(7)
    guide, degrees, wiper, turns = OverbiasGuide(10000.0), 0.0, 0.0, [0.0]

    def bias() -> float:
        return start + 0.06 * sense * wiper  # the law of the trimmer is a choice

    for _ in range(60):
        level, treble = levels(bias(), 381.0, 9.2)
        guide.add_steady(level + rng.normal(0, 0.02), treble + rng.normal(0, 0.02), degrees)
        if guide.peak.stage == "past" and abs(guide.peak.top()[0] - level - 3.0) < 0.3:
            break
        turn = guide.turn(3.0, degrees)
        assert turn is not None
        degrees += turn
        wiper = min(degrees + play / 2, max(degrees - play / 2, wiper))
        turns.append(degrees)
    assert true_fall(bias(), 381.0, 9.2) == pytest.approx(3.0, abs=0.4)
    assert len(turns) <= 18
    more = [sense * d for d in turns]
    least = int(np.argmin(more))
    changes = sum(
        (b - a) * (c - b) < 0 for a, b, c in zip(more[least:], more[least + 1 :], more[least + 2 :], strict=False)
    )
    assert changes <= 1  # from below the peak only upwards, and back once if the last turn went too far


@pytest.mark.parametrize("seed", range(10))
def test_once_at_the_point_past_the_peak_neither_play_nor_wander_leads_away_from_it(seed: int) -> None:
    """19 cm/s, where the tone falls by 0.2 dB a degree, with 8° of play and the wander of a good machine."""
    speed, zone_um, aim = SPEEDS[0]
    rng = np.random.default_rng(seed)
    guide, degrees, wiper, there = OverbiasGuide(10000.0), 0.0, 0.0, False
    for _ in range(60):
        level, treble = levels(0.05 * wiper, speed, zone_um)
        guide.add_steady(level + rng.normal(0, 0.25), treble + rng.normal(0, 0.2), degrees)
        off = abs(true_fall(0.05 * wiper, speed, zone_um) - aim)
        there |= guide.peak.stage == "past" and off < 0.35
        assert off < 2.5 or not there
        turn = guide.turn(aim, degrees) or 0.0
        assert abs(turn) < 30.0 or not there
        degrees += turn
        wiper = min(degrees + 4.0, max(degrees - 4.0, wiper))
    assert there
