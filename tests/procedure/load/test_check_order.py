"""Interlocks and stages, checked against the order of the steps of a procedure."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.procedure.load.check_order import check_order
from bench.procedure.load.file_problems import Mistake
from bench.procedure.load.reader import read_procedure
from tests.procedure.small_bench import CLEAN, HEAD, LEVEL, PLAY, RECORD

ONLY_CLEANED = CLEAN.replace(', "demagnetise"', "")
FOUND_DIRTY = RECORD.replace('id = "record"', 'id = "dirty"\nstage = "found-dirty"')
FOUND_CLEAN = RECORD.replace('id = "record"', 'id = "cleaned"\nstage = "found-clean"')


ONLY_DEMAGNETISED = CLEAN.replace('id = "clean"', 'id = "demagnetise"').replace('"clean", ', "")


def _wrongs(tmp_path: Path, steps: str, *, part: bool = False) -> list[Mistake]:
    path = tmp_path / "p.toml"
    path.write_text(HEAD + steps, encoding="utf-8")
    return check_order(read_procedure(path).whole().step, part=part)  # type: ignore[arg-type]


def test_a_line_up_in_order_is_right(tmp_path: Path) -> None:
    assert _wrongs(tmp_path, FOUND_DIRTY + CLEAN + FOUND_CLEAN + PLAY + LEVEL + RECORD) == []
    assert _wrongs(tmp_path, ONLY_CLEANED + ONLY_DEMAGNETISED + PLAY) == []


@pytest.mark.parametrize(
    ("steps", "at", "message", "remedy"),
    [
        (
            PLAY + CLEAN,
            ("step", 0, "kind"),
            "before the machine was cleaned and demagnetised",
            '"clean", "demagnetise"',
        ),
        (LEVEL + CLEAN, ("step", 0, "plays"), "before the machine was cleaned and demagnetised", "by-hand steps"),
        (ONLY_CLEANED + PLAY, ("step", 1, "kind"), "before the machine was demagnetised", 'does = ["demagnetise"]'),
        (ONLY_DEMAGNETISED + PLAY, ("step", 1, "kind"), "before the machine was cleaned", 'does = ["clean"]'),
        (CLEAN + FOUND_DIRTY + RECORD, ("step", 1, "stage"), '"found-dirty" comes after cleaning', '"found-clean"'),
        (CLEAN + RECORD + FOUND_DIRTY, ("step", 2, "stage"), '"found-dirty" comes after cleaning', "before cleaning"),
        (CLEAN + LEVEL + FOUND_CLEAN, ("step", 2, "stage"), "comes after an adjustment", "before any trimmer"),
        (
            CLEAN + LEVEL + 'stage = "found-clean"\n' + RECORD,
            ("step", 1, "stage"),
            'an adjustment is not "found-clean"',
            "take the stage out",
        ),
        (FOUND_DIRTY + CLEAN, ("step", 0, "stage"), "nothing is ever judged", "measure again as left"),
        (FOUND_DIRTY + CLEAN + FOUND_CLEAN, ("step", 2, "stage"), "nothing is ever judged", "measure again as left"),
    ],
)
def test_what_is_out_of_order(tmp_path: Path, steps: str, at: tuple[str | int, ...], message: str, remedy: str) -> None:
    mistakes = _wrongs(tmp_path, steps)
    assert [w.at for w in mistakes] == [at]
    assert message in mistakes[0].message
    assert remedy in mistakes[0].remedy


def test_the_reference_tape_is_told_once_however_often_it_plays(tmp_path: Path) -> None:
    assert len(_wrongs(tmp_path, PLAY + LEVEL)) == 1


def test_a_part_does_not_know_what_comes_before_it(tmp_path: Path) -> None:
    assert _wrongs(tmp_path, PLAY + LEVEL, part=True) == []
    assert _wrongs(tmp_path, FOUND_DIRTY, part=True) == []
    assert _wrongs(tmp_path, LEVEL + FOUND_CLEAN, part=True) != []
