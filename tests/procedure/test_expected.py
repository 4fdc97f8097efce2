"""How a tone that was heard is assigned to one of the expected tones."""

from __future__ import annotations

import pytest

from bench.procedure.kinds.listen.expected_tones import Expected, match, other_first
from bench.words.figures import tone


def tape() -> list[Expected]:
    """A reference tape as common ones are laid out: level, azimuth, then the response at -20 dB."""
    sections = [
        ("level", 315, 0),
        ("azimuth-10k", 10000, -10),
        ("r-315", 315, -20),
        ("r-1k", 1000, -20),
        ("r-10k", 10000, -20),
    ]
    return [Expected(i, hz, -12.0 + db, "response", i, db) for i, hz, db in sections]


def heard(expected: list[Expected], hz: float, dbfs: float) -> str | None:
    found = match(expected, hz, dbfs)
    if found is None:
        return None
    found.state, found.heard_dbfs = "done", dbfs
    return found.id


def test_all_sections_in_order_on_a_machine_that_is_off_in_speed_and_level() -> None:
    e = tape()
    plays = [(321, -16.0), (10200, -26.5), (321, -36.1), (1020, -36.2), (10200, -37.0)]
    assert [heard(e, *p) for p in plays] == ["level", "azimuth-10k", "r-315", "r-1k", "r-10k"]


def test_a_second_tone_shows_that_the_first_was_the_level_section_of_a_low_capture() -> None:
    e = [*tape()[:1], Expected("level-400", 400, -12.0, "level", "level-400", 0.0), *tape()[1:]]
    assert heard(e, 315, -32.0) == "r-315"
    assert heard(e, 400, -32.0) is None
    found = other_first(e, 400, -32.0)
    assert found is not None
    assert [x.id for x in found] == ["r-315", "level"]
    assert other_first(e, 400, -26.0) is None  # nor does it fit then
    assert other_first(e, 1000, -32.0) is None


def test_a_dirty_head_does_not_turn_azimuth_into_response() -> None:
    e = tape()
    assert heard(e, 315, -12.0) == "level"
    assert heard(e, 10000, -34.0) == "azimuth-10k"  # 12 dB of treble lost, which is the level of the response section


def test_two_sections_of_one_frequency_and_level_are_as_far_off_as_each_other() -> None:
    """With azimuth off, 10 kHz is 9 dB low in its azimuth section, and again in its response section."""
    sections = [("level", 315, 0), ("azimuth-10k", 10000, -20), ("r-315", 315, -20), ("r-10k", 10000, -20)]
    e = [Expected(i, hz, -12.0 + db, "response", i, db) for i, hz, db in sections]
    plays = [(315, -12.0), (10000, -41.0), (315, -32.0), (10000, -41.1)]
    assert [heard(e, *p) for p in plays] == ["level", "azimuth-10k", "r-315", "r-10k"]


def test_sections_that_are_not_wanted_take_no_place_of_those_that_are() -> None:
    """The level section has the frequency of the response's first tone; it is passed, or wound past."""
    for plays, found in (
        ([(315, -13.0), (10000, -23.0), (315, -33.0)], ["level", "azimuth-10k", "r-315"]),
        ([(315, -33.0), (1000, -33.0), (10000, -34.0)], ["r-315", "r-1k", "r-10k"]),
    ):
        e = tape()
        for section in e[:2]:
            section.wanted = False
        assert [heard(e, *p) for p in plays] == found


def test_started_in_the_middle_of_the_tape() -> None:
    e = tape()
    assert heard(e, 315, -32.0) == "r-315"
    assert heard(e, 1000, -32.0) == "r-1k"


def test_wound_back_to_the_level_section() -> None:
    e = tape()
    assert [heard(e, 315, -32.0), heard(e, 1000, -32.0), heard(e, 315, -12.0)] == ["r-315", "r-1k", "level"]


def test_hum_in_the_lead_in_is_not_the_tone() -> None:
    e = [Expected("t1", 400, -12.0, "record-replay", "t1", 0.0)]
    assert heard(e, 400, -66.0) is None
    assert heard(e, 400, -18.0) == "t1"


@pytest.mark.parametrize("hz", [100, 400, 2000])
def test_a_stranger_is_none_of_them(hz: float) -> None:
    assert match(tape(), hz, -12.0) is None


@pytest.mark.parametrize(
    ("hz", "db", "words"), [(10000, -20, "10 kHz, −20 dB"), (315, 0, "315 Hz, 0 dB"), (3150, 3, "3.15 kHz, +3 dB")]
)
def test_label(hz: float, db: float, words: str) -> None:
    assert tone(hz, db) == words


def test_the_second_half_of_a_tone_that_a_dropout_broke_is_not_the_next_section_of_its_frequency() -> None:
    e = tape()
    assert [heard(e, 315, -12.0), heard(e, 315, -12.2)] == ["level", None]
    assert [heard(e, 10000, -22.0), heard(e, 10000, -22.3)] == ["azimuth-10k", None]
    assert [heard(e, 315, -32.1), heard(e, 315, -31.9)] == ["r-315", None]


def test_a_level_that_can_be_that_of_no_section_is_none_of_them() -> None:
    e = tape()
    assert heard(e, 10000, -22.0) == "azimuth-10k"
    assert heard(e, 1000, -12.0) is None  # 20 dB above the only 1 kHz that the tape holds
    assert heard(e, 1000, -32.0) == "r-1k"
