"""A person's copy of the shipped procedures follows what is shipped, and never loses what that person wrote."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import pytest

from bench.renewal import LIST, list_copies, renew

OLD = {"clean.toml": "old", "sheets/tape.toml": "old tape", "play.toml": "play", "gone.toml": "no longer shipped"}
NEW = {"clean.toml": "new", "sheets/tape.toml": "new tape", "play.toml": "play", "sheets/more/one.toml": "one more"}


def _fill(folder: Path, files: dict[str, str]) -> Path:
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def _read(folder: Path) -> dict[str, str]:
    files = (p for p in folder.rglob("*") if p.is_file() and p.name != LIST)
    return {p.relative_to(folder).as_posix(): p.read_text(encoding="utf-8") for p in files}


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    copies = _fill(tmp_path / "mine", OLD)
    list_copies(copies)
    return copies


@pytest.fixture
def shipped(tmp_path: Path) -> Path:
    return _fill(tmp_path / "shipped", NEW)


def test_what_nobody_changed_is_replaced_and_what_is_new_is_added(mine: Path, shipped: Path) -> None:
    renew(mine, shipped)
    assert _read(mine) == {**OLD, **NEW}


def test_what_a_person_changed_made_or_threw_away_stays(mine: Path, shipped: Path) -> None:
    _fill(mine, {"clean.toml": "mine", "sheets/more/one.toml": "my own"})
    (mine / "sheets" / "tape.toml").unlink()
    for _ in range(2):
        renew(mine, shipped)
        assert _read(mine) == {
            "clean.toml": "mine",
            "play.toml": "play",
            "gone.toml": "no longer shipped",
            "sheets/more/one.toml": "my own",
        }


def test_a_change_taken_back_is_renewed(mine: Path, shipped: Path) -> None:
    _fill(mine, {"clean.toml": "mine"})
    renew(mine, shipped)
    _fill(mine, {"clean.toml": "old"})
    renew(mine, shipped)
    assert _read(mine)["clean.toml"] == "new"


def test_a_second_time_touches_nothing(mine: Path, shipped: Path) -> None:
    renew(mine, shipped)
    before = {p: p.stat().st_mtime_ns for p in mine.rglob("*")}
    renew(mine, shipped)
    assert {p: p.stat().st_mtime_ns for p in mine.rglob("*")} == before


def test_a_folder_of_ones_own_and_a_damaged_list_stay(mine: Path, shipped: Path, tmp_path: Path) -> None:
    own = _fill(tmp_path / "own", OLD)
    renew(own, shipped)
    assert _read(own) == OLD
    (mine / LIST).write_bytes(b"\xff\x00 nothing\n" + b"0" * 64 + b"  ../outside.toml\n")
    renew(mine, shipped)
    assert _read(mine) == {**NEW, **OLD}
    assert not (tmp_path / "outside.toml").exists()


def test_a_link_to_a_file_elsewhere_is_not_replaced(mine: Path, shipped: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere.toml"
    shutil.move(mine / "clean.toml", elsewhere)
    (mine / "clean.toml").symlink_to(elsewhere)
    renew(mine, shipped)
    assert (mine / "clean.toml").is_symlink()
    assert elsewhere.read_text(encoding="utf-8") == "old"


def test_the_list_is_that_of_sha256sum(mine: Path) -> None:
    # GNU coreutils, sha256sum: the digest, two spaces and the name on each line.
    assert f"{hashlib.sha256(b'old').hexdigest()}  clean.toml" in (mine / LIST).read_text(encoding="utf-8").splitlines()
