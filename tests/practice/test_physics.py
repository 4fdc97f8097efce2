"""What the table of a sheet may contain, and how faults change a machine."""

from __future__ import annotations

import pytest

from bench.practice.facts import FaultFacts, Table
from bench.problem import Problem
from tests.practice.deck import deck


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ({"replay_dirt_lef_um": 1.0}, "practice.replay_dirt_lef_um is nothing .* did you mean replay_dirt_left_um"),
        ({"xyzzy": "red"}, "practice.xyzzy is nothing the practice machine knows; it may be one of"),
        ({"flutter_reel_percent": 86400}, "practice.flutter_reel_percent is at most 50, not 86400"),
        ({"hum_db": -1e300}, "practice.hum_db is at most 200"),
        ({"hum_db": "loud"}, "practice.hum_db must be a number, not 'loud'"),
        ({"hum_db": True}, "practice.hum_db must be a number, not True"),
        ({"tape_selector": 1.0}, "practice.tape_selector must be words in quotes"),
        ({"tape_selector": "V"}, "practice.tape_selector must be one of I, II, IV, open reel"),
    ],
)
def test_a_table_that_can_not_be(table: Table, words: str) -> None:
    with pytest.raises(Problem, match=f"deck: {words}"):
        deck(table)


def test_two_heads_have_no_record_head_of_their_own() -> None:
    with pytest.raises(Problem, match="record_dirt_left_um needs three heads"):
        deck({"record_dirt_left_um": 1.0}, heads=2)
    with pytest.raises(Problem, match="record_dirt_left_um needs three heads"):
        deck(heads=2, faults=[FaultFacts("dirt", {"record_dirt_left_um": 1.0})])


def test_two_faults_of_one_thing() -> None:
    with pytest.raises(Problem, match=r"second and first both change practice\.hum_db"):
        deck(faults=[FaultFacts("first", {"hum_db": -30.0}), FaultFacts("second", {"hum_db": -40.0})])
