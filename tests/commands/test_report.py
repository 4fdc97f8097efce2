"""`tapebench report`."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.cli import main
from bench.procedure.state.events import Noted
from bench.session.record.lock import SessionLock
from bench.session.record.reader import read_session
from tests.session.made_up import whole


@pytest.fixture(name="folder")
def _folder(tmp_path: Path) -> Path:
    return whole(tmp_path)


def test_by_folder_by_file_and_by_name(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for named in (str(folder), str(folder / "session.toml"), folder.name):
        assert main(["--workspace", str(tmp_path), "report", named]) == 0
        assert Path(capsys.readouterr().out.strip()) == folder / "report.html"
        for name in ("report.html", "readings.csv"):
            assert (folder / name).stat().st_size > 1000
            (folder / name).unlink()


def test_text_is_printed_and_nothing_written(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["report", str(folder), "--text"]) == 0
    assert "All 55 judged readings at 3 steps are in." in capsys.readouterr().out
    assert not (folder / "report.html").exists()


@pytest.mark.parametrize("text", [[], ["--text"]])
def test_what_cannot_be_reported_is_one_line(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], text: list[str]
) -> None:
    (folder / "session.toml").write_text("schema = 1\n[job")
    empty = tmp_path / "empty"
    empty.mkdir()
    for named in ("nowhere", str(folder), str(empty)):
        assert main(["--workspace", str(tmp_path), "report", named, *text]) == 2
        said = capsys.readouterr()
        assert said.out == ""
        assert said.err.startswith("tapebench: ")
        assert said.err.count("\n") == 1
        assert Path(named).name in said.err


def test_a_note_is_added_and_stands_in_the_report(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = read_session(folder)
    args = ["--workspace", str(tmp_path), "report", folder.name]
    assert main([*args, "--note", "Owner says it is <right> now.", "--note", "Belt ordered."]) == 0
    session = read_session(folder)
    assert session.readings == before.readings
    assert session.events[: len(before.events)] == before.events
    assert [e.text for e in session.events[-2:] if isinstance(e, Noted)] == [
        "Owner says it is <right> now.",
        "Belt ordered.",
    ]
    page = (folder / "report.html").read_text(encoding="utf-8")
    assert "Added afterwards: Owner says it is &lt;right&gt; now." in page
    assert "3 May 2026, 10:12 to 10:54" in page  # this does not count as working time
    assert main([*args, "--text"]) == 0
    assert "Added afterwards: Belt ordered." in capsys.readouterr().out


def test_no_note_is_added_to_what_may_not_be_written(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    args = ["--workspace", str(tmp_path), "report", folder.name, "--note"]
    assert main([*args, "  "]) == 2
    text = (folder / "session.toml").read_text(encoding="utf-8").replace("schema = 3", "schema = 4", 1)
    (folder / "session.toml").write_text(text, encoding="utf-8")
    assert main([*args, "a note"]) == 2
    assert "written by a later version" in capsys.readouterr().err
    assert (folder / "session.toml").read_text(encoding="utf-8") == text
    lock = SessionLock(whole(tmp_path))
    assert main([*args[:-2], lock._folder.name, "--note", "a note"]) == 2
    assert "being written by" in capsys.readouterr().err
    lock.release()
