"""Where procedures and sessions are kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench import workspace
from bench.problem import Problem
from bench.workspace import find_workspace, shipped_procedures


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A person with a data folder of their own, in an empty folder."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "data"))
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    return tmp_path


def test_the_current_folder_if_it_has_procedures(home: Path) -> None:
    (home / "here" / "procedures").mkdir()
    found = find_workspace()
    assert found.root == home / "here"
    assert found.procedures == home / "here" / "procedures"
    assert found.sheets == home / "here" / "procedures" / "sheets"
    assert found.sessions == home / "here" / "sessions"
    assert list(found.procedures.iterdir()) == []


def test_else_the_data_folder_with_a_copy_of_what_is_shipped(home: Path) -> None:
    found = find_workspace()
    assert found.root.is_relative_to(home)
    shipped = shipped_procedures()
    for file in shipped.rglob("*.toml"):
        assert (found.procedures / file.relative_to(shipped)).read_bytes() == file.read_bytes()
    assert sorted(p.name for p in found.root.iterdir()) == ["procedures"]


def test_what_a_person_changed_there_stays(home: Path) -> None:
    mine = find_workspace().procedures / "clean.toml"
    mine.write_text("mine", encoding="utf-8")
    (mine.parent / "demagnetise.toml").unlink()
    again = find_workspace()
    assert (again.procedures / "clean.toml").read_text(encoding="utf-8") == "mine"
    assert not (again.procedures / "demagnetise.toml").exists()


def test_a_named_folder(home: Path) -> None:
    named = home / "bench"
    with pytest.raises(Problem, match="no such folder"):
        find_workspace(named)
    named.mkdir()
    assert (find_workspace(named).procedures / "clean.toml").is_file()
    assert find_workspace(named).root == named


def test_a_named_folder_of_other_things_is_left_alone(home: Path) -> None:
    other = home / "photographs"
    other.mkdir()
    (other / "one.txt").write_text("x", encoding="utf-8")
    with pytest.raises(Problem, match="has no procedures/ folder"):
        find_workspace(other)
    with pytest.raises(Problem, match="a file"):
        find_workspace(other / "one.txt")
    assert [p.name for p in other.iterdir()] == ["one.txt"]


def test_a_folder_that_cannot_be_written(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (home / "data").write_text("a file where the data folder should be", encoding="utf-8")
    with pytest.raises(Problem, match="the shipped procedures can't be copied there"):
        find_workspace()


def test_an_installation_without_procedures_says_so(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workspace, "_HERE", home / "site" / "bench")
    with pytest.raises(Problem, match="install it again"):
        find_workspace()
