"""The folders for procedures and sessions."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from bench import workspace
from bench.cli import main
from bench.problem import Problem
from bench.session.record.reader import read_session
from bench.workspace import WORKED_SESSIONS, find_workspace, shipped_procedures, shipped_sessions, write_new


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
    assert {p.name for p in found.root.iterdir()} == {"procedures", "sessions"}


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


def test_the_worked_sessions_are_there_at_the_first_start(home: Path) -> None:
    found = find_workspace()
    assert [s.name for s in shipped_sessions()] == list(WORKED_SESSIONS)
    for name in WORKED_SESSIONS:
        read = read_session(found.sessions / name)
        assert read.done
        assert read.job.port_kind == "practice"
        assert (found.sessions / name / "report.html").is_file()
    assert len({read_session(found.sessions / name).job.seed for name in WORKED_SESSIONS}) == 1
    (mine := home / "named").mkdir()
    assert not find_workspace(mine).sessions.exists()


def test_the_worked_sessions_are_kept_by_git_and_shipped_in_the_wheel() -> None:
    root = Path(__file__).parents[1]
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))
    shipped = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    ignored = (root / ".gitignore").read_text(encoding="utf-8").splitlines()
    for name in WORKED_SESSIONS:
        assert shipped[f"sessions/{name}"] == f"bench/shipped/sessions/{name}"
        assert f"!/sessions/{name}/" in ignored


def test_history_comparison_and_interchange_have_something_to_show(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["history", "--machine", "three-head-cassette"]) == 0
    out = capsys.readouterr().out
    assert "drift: " in out
    assert "Next due: " in out
    assert main(["compare", *WORKED_SESSIONS, "--of", "between"]) == 0
    assert " changed" in capsys.readouterr().out
    assert main(["interchange", *WORKED_SESSIONS]) == 0
    assert "1 → 2" in capsys.readouterr().out
    assert main(["label", WORKED_SESSIONS[1]]) == 0
    assert "Lined up 19 November 2026" in capsys.readouterr().out


def test_a_new_file_gets_a_free_name_and_none_is_written_over(tmp_path: Path) -> None:
    folder = tmp_path / "sheets"
    written = [write_new(folder, "deck", str(n), most=3) for n in (1, 2)]
    assert [(p.name, p.read_text(encoding="utf-8")) for p in written] == [("deck.toml", "1"), ("deck-2.toml", "2")]
    with pytest.raises(Problem, match="too many files called deck"):
        write_new(folder, "deck", "3", most=3)


def test_a_new_file_where_none_can_be_written_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "sheets").write_text("", encoding="utf-8")
    with pytest.raises(Problem, match=r"deck\.toml can't be written"):
        write_new(tmp_path / "sheets", "deck", "")
