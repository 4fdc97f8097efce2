"""Ranking of tapes, from made-up readings."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from bench.measure.reading import Channel
from bench.measure.stage import Stage
from bench.measure.verdict import Verdict
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.ranking import Criterion, Figure, RankedTape, figure_words, ranking, ranking_lines
from tests.results import a_reading, result

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)


ROUND_0_DB = Verdict(word="in", target=0.0, tolerance=1.0)


def record(
    lot: str,
    quantity: str,
    value: float | None,
    *,
    channel: Channel = "left",
    hz: float | None = None,
    spread: float = 0.01,
    stage: Stage = "left",
    verdict: Verdict | None = ROUND_0_DB,
    attempt: int = 1,
) -> ReadingRecord:
    reading = result(quantity, channel, value, spread, frequency_hz=hz)
    return ReadingRecord(
        "r1", f"{quantity}-{lot}", stage, True, "record-replay", reading, verdict, NOON, lot=lot, attempt=attempt
    )


def ranks(ranked: tuple[RankedTape, ...], by: Criterion) -> dict[str, int]:
    return {r.lot: r.figures[by].rank for r in ranked if by in r.figures}


def test_each_figure_is_the_worse_channel_off_its_aim_whatever_the_sign() -> None:
    records = [
        record("A", "record_replay_level", 0.3),
        record("A", "record_replay_level", -1.5, channel="right"),
        record("B", "record_replay_level", 1.0),
        record("C", "record_replay_level", 2.3, verdict=replace(ROUND_0_DB, target=2.0)),
    ]
    ranked = ranking(records)
    assert ranks(ranked, "level") == {"C": 1, "B": 2, "A": 3}
    assert {r.lot: r.figures["level"].reading for r in ranked} == {
        r.lot: r.reading for r in (records[1], records[2], records[3])
    }
    assert {r.lot: r.figures["level"].off_db for r in ranked} == pytest.approx({"A": -1.5, "B": 1.0, "C": 0.3})


def test_the_sides_of_an_owners_tape_are_not_ranked() -> None:
    """Nobody knows what was sent to a tape from elsewhere, so neither of its sides fits the machine better."""
    sides = [record(side, "heard_error", db) for side, db in (("side A", 1.0), ("side B", 2.0))]
    assert len(ranking(sides)) == 2
    assert ranking([replace(r, source="owner's tape") for r in sides]) == ()


def test_where_nothing_ranks_there_is_no_ranking() -> None:
    assert ranking([record(lot, "azimuth_delay", 3.0) for lot in ("A", "B")]) == ()


def test_without_an_aim_a_tape_is_off_by_all_that_it_is() -> None:
    # A one-sided limit is no aim, and a reading that is only reported has none.
    most = Verdict(word="in", target=3.0, limit="at most")
    records = [
        record("A", "heard_error", 3.0, verdict=most),
        record("B", "heard_error", 2.0, verdict=None),
        record("C", "heard_error", 0.0, verdict=most),
    ]
    assert {r.lot: r.figures["noise reduction"].off_db for r in ranking(records)} == {"A": 3.0, "B": 2.0, "C": 0.0}


def test_treble_is_of_five_kilohertz_and_above() -> None:
    records = [
        record("A", "response", 6.0, hz=4999.0),
        record("A", "response", 7.0),
        record("A", "response", -1.0, hz=5000.0),
        record("B", "response", 2.0, hz=12500.0),
    ]
    assert ranks(ranking(records), "treble") == {"A": 1, "B": 2}


def test_those_nearer_than_a_tape_wanders_or_than_their_uncertainties_are_alike() -> None:
    near = ranking([record(lot, "heard_error", db) for lot, db in (("A", 1.0), ("B", -1.19), ("C", 1.4))])
    assert ranks(near, "noise reduction") == {"A": 1, "B": 1, "C": 3}
    assert ranking_lines(near) == (
        "A and B measure alike in noise reduction",
        "by noise reduction, dB: A 1st alike, +1.00 ± 0.01; B 1st alike, −1.19 ± 0.01; C 3rd, +1.40 ± 0.01",
    )
    unsure = ranking([record(lot, "heard_error", db, spread=0.4) for lot, db in (("A", 1.0), ("B", 1.5), ("C", 1.6))])
    assert ranks(unsure, "noise reduction") == {"A": 1, "B": 1, "C": 3}


def test_a_rank_is_shared_by_those_alike_to_its_best_not_to_each_other() -> None:
    # Competition ranking ("1224"): the next rank counts all that are before it.
    levels = {"A": 1.0, "B": 1.15, "C": 1.3, "D": -1.35, "E": 2.0}
    ranked = ranking([record(lot, "record_replay_level", db) for lot, db in levels.items()])
    assert ranks(ranked, "level") == {"A": 1, "B": 1, "C": 3, "D": 3, "E": 5}
    assert ranking_lines(ranked)[0] == "A and B measure alike in level"


def test_three_alike_and_nothing_read_of_noise_reduction() -> None:
    records = [record(lot, "response", db, hz=10000.0) for lot, db in (("A", 1.0), ("B", 1.1), ("C", 1.15))]
    records += [record(lot, "record_replay_level", db) for lot, db in (("A", 2.0), ("B", 1.0), ("D", 0.0))]
    best, by_treble, by_level = ranking_lines(ranking(records))
    assert best == "B, A and C measure alike in treble; B fits best, by level"
    assert by_treble.startswith("by treble, dB: B 1st alike, +1.10 ± 0.01; A 1st alike, +1.00 ± 0.01; C 1st alike")
    assert by_treble.endswith("D not read")
    assert by_level == "by level, dB: D 1st, 0.00 ± 0.01; B 2nd, +1.00 ± 0.01; A 3rd, +2.00 ± 0.01; C not read"


@pytest.mark.parametrize(
    ("rank", "said"),
    [
        *((1, "1st"), (2, "2nd"), (3, "3rd"), (4, "4th"), (10, "10th"), (11, "11th"), (12, "12th"), (13, "13th")),
        *((14, "14th"), (21, "21st"), (22, "22nd"), (23, "23rd"), (101, "101st"), (111, "111th"), (113, "113th")),
    ],
)
def test_ranks_are_spelt_as_in_english(rank: int, said: str) -> None:
    figure = Figure(1.0, 0.1, a_reading(record("A", "heard_error", 1.0).reading), rank)
    one = RankedTape("A", {"noise reduction": figure})
    assert figure_words([one], one, "noise reduction") == f"{said}, +1.00 ± 0.10"


def test_the_order_is_by_noise_reduction_then_treble_then_level() -> None:
    records = [
        record("A", "heard_error", 3.0),
        record("B", "heard_error", 1.0),
        record("C", "heard_error", 1.1),
        record("B", "response", 2.0, hz=10000.0),
        record("C", "response", 1.0, hz=10000.0),
        record("D", "record_replay_level", 0.0),
    ]
    ranked = ranking(records)
    assert [r.lot for r in ranked] == ["C", "B", "A", "D"]
    best, by_noise_reduction, *_ = ranking_lines(ranked)
    assert best == "C and B measure alike in noise reduction; C fits best, by treble"
    assert "D not read" in by_noise_reduction


def test_what_does_not_count() -> None:
    assert ranking([record("A", "heard_error", 1.0), record("", "heard_error", 1.0)]) == ()
    records = [
        record("A", "heard_error", 9.0, attempt=1),
        record("A", "heard_error", 1.0, attempt=2),
        record("A", "heard_error", 5.0, stage="found-dirty"),
        record("B", "heard_error", None),
        record("B", "record_replay_level", 0.5),
        record("C", "heard_error", 2.0),
    ]
    ranked = ranking(records)
    assert ranks(ranked, "noise reduction") == {"A": 1, "C": 2}
    assert ranked[-1].lot == "B"
