from __future__ import annotations

from dataclasses import replace

from bench.procedure.model.steps import Caution
from bench.tui.widgets.step_card import card_height, card_lines, card_parts
from tests.tui import samples
from tests.tui.screen_driver import texts


def test_cautions_come_first_then_what_to_do_then_what_good_looks_like() -> None:
    assert texts(card_lines(card_parts(samples.step()), 78, 12)) == [
        "▲ Loud tones: Loudspeakers down: a tone at reference level is about to play.",
        "",
        "Play the level section of the reference tape. Turn the replay level trimmer of",
        "each channel until its figure stands on the target, with an insulated trimming",
        "tool.",
        "",
        "good  Both channels within half a decibel of the target and of each other.",
        "",
    ]


def test_what_can_be_seen_comes_last() -> None:
    lines = texts(card_lines(card_parts(samples.step(), seen="The swab is light brown."), 78, 12))
    assert lines[-2] == "you see  The swab is light brown."


def test_the_whole_card_adds_why_and_what_if_not() -> None:
    lines = texts(card_lines(card_parts(samples.step(), whole=True), 78, 40))
    assert any(line.startswith("if not  Look at the head") for line in lines)
    assert any(line.startswith("why  A noise-reduction decoder") for line in lines)


def test_where_not_all_fits_what_to_do_has_a_line_and_cautions_come_whole() -> None:
    long = Caution(hazard="solvent", say="Ventilate, no sparks, gloves. " * 4)
    lines = texts(card_lines(card_parts(replace(samples.step(), cautions=(long,))), 78, 4))
    assert [line[:4] for line in lines] == ["▲ So", "  Ve", "Play", "each"]
    assert lines[3].endswith("…")
    lines = texts(card_lines(card_parts(samples.step()), 78, 3))
    assert [line[:4] for line in lines] == ["▲ Lo", "Play", "each"]


def test_cautions_that_find_no_room_are_named_in_one_line() -> None:
    three = samples.beside_hazards().step
    assert three is not None
    assert texts(card_lines(card_parts(three), 78, 3)) == [
        "▲ Moving parts, mains, loud tones: w shows the cautions",
        "Play the level section of the reference tape. Turn the replay level trimmer of",
        "each channel until its figure stands on the target, with an insulated …",
    ]


def test_the_height_of_a_card_beside_something_live() -> None:
    parts = card_parts(samples.step())
    assert card_height(parts, 78, 10, 10) == 5
    assert card_height(parts, 78, 3, 10) == 4  # what to do is read whole
    three = samples.beside_hazards().step
    assert three is not None
    assert card_height(card_parts(three), 78, 3, 10) == 9
    assert card_height(card_parts(three), 78, 3, 5) == 5


def test_empty_parts_are_left_out() -> None:
    bare = replace(samples.step(), cautions=(), good="", do="Wait.")
    assert texts(card_lines(card_parts(bare), 78, 3)) == ["Wait.", ""]
