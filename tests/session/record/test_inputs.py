"""The copies of a session's inputs are read within bounds, and from its own folder only."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.session.record.inputs import machine_sheet
from bench.session.record.record import InputFile

SHEET = 'name = "Right"\nspeed_mm_s = 47.625\n'


def sheet_at(folder: Path, place: str, text: str) -> dict[str, object]:
    path = folder / place
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return machine_sheet(folder, (InputFile("inputs/line-up.toml", ""), InputFile(place, "")))


def test_the_copy_of_the_machines_sheet(tmp_path: Path) -> None:
    assert sheet_at(tmp_path, "inputs/sheets/machines/right.toml", SHEET)["name"] == "Right"
    assert machine_sheet(tmp_path, ()) == {}


@pytest.mark.parametrize(
    ("place", "text"),
    [
        ("../machines/right.toml", SHEET),
        ("inputs/sheets/machines/right.toml", "name ="),
        ("inputs/sheets/machines/right.toml", "speed_mm_s = 9e99\n"),
        ("inputs/sheets/machines/right.toml", ".".join(["a"] * 40) + " = 1\n"),
    ],
)
def test_a_copy_elsewhere_or_out_of_bounds_is_none(tmp_path: Path, place: str, text: str) -> None:
    folder = tmp_path / "session"
    folder.mkdir()
    assert sheet_at(folder, place, text) == {}
