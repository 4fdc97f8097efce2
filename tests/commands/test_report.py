"""`tapebench report`."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.cli import main
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
