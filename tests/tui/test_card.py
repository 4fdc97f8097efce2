from __future__ import annotations

from dataclasses import replace

from bench.procedure.steps import Caution
from bench.tui.widgets.card import card_lines, parts_of
from bench.tui.widgets.painted import texts
from tests.tui import samples


def test_cautions_come_first_then_what_to_do_then_what_good_looks_like() -> None:
    assert texts(card_lines(parts_of(samples.step()), 78, 12)) == [
        "▲ Loud tones: Monitors down: a tone at reference level is about to play.",
        "",
        "Play the level section of the reference tape. Turn the replay level trimmer of",
        "each channel until its figure stands on the target, with an insulated trimming",
        "tool.",
        "",
        "good  Both channels within half a decibel of the target and of each other.",
        "",
    ]


def test_the_whole_card_adds_why_and_what_if_not() -> None:
    lines = texts(card_lines(parts_of(samples.step(), whole=True), 78, 40))
    assert any(line.startswith("if not  Look at the head") for line in lines)
    assert any(line.startswith("why  A noise-reduction decoder") for line in lines)


def test_in_three_lines_every_part_has_its_line() -> None:
    lines = texts(card_lines(parts_of(samples.step()), 78, 3))
    assert [line[:4] for line in lines] == ["▲ Lo", "Play", "good"]
    assert lines[1].endswith("…")


def test_cautions_are_the_last_to_be_cut() -> None:
    cautions = (Caution(hazard="mains", say="Unplug it."), Caution(hazard="solvent", say="Ventilate."))
    lines = texts(card_lines(parts_of(replace(samples.step(), cautions=cautions)), 78, 2))
    assert lines == ["▲ Mains: Unplug it.", "▲ Solvent: Ventilate."]


def test_empty_parts_are_left_out() -> None:
    bare = replace(samples.step(), cautions=(), good="", do="Wait.")
    assert texts(card_lines(parts_of(bare), 78, 3)) == ["Wait.", ""]
