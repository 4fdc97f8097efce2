"""`tapebench validate` from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bench.cli import main
from tests.procedure.small_bench import GOOD, make_bench


@pytest.fixture(autouse=True)
def _bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make_bench(tmp_path, good=GOOD, bad=GOOD.replace("= 5", "= nan").replace('"Look."', '""'))
    monkeypatch.chdir(tmp_path)


def test_clean_files_end_with_0_and_print_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["validate", "procedures/good.toml"]) == 0
    out = capsys.readouterr()
    assert out.out == ""
    assert out.err == "1 file: no problem\n"


def test_problems_end_with_1_and_stand_on_a_line_each(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["validate", "procedures"]) == 1
    out = capsys.readouterr()
    assert out.out.splitlines() == [
        "procedures/bad.toml:4: takes_minutes: nan is not a number that can be measured; write a finite figure",
        "procedures/bad.toml:55: step 6, do: is empty; fill it in",
    ]
    assert out.err == "7 files: 2 problems\n"


def test_json_is_one_object(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["validate", "procedures/bad.toml", "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["files"] == 1
    assert told["findings"][1] == {
        "file": "procedures/bad.toml",
        "line": 55,
        "key": "step 6, do",
        "message": "is empty",
        "remedy": "fill it in",
    }


def test_a_missing_file_ends_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["validate", "procedures/none.toml"]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert out.err == "tapebench: procedures/none.toml: no such file or folder; see the name\n"


def test_nothing_named_ends_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["validate"]) == 2
    assert capsys.readouterr().err.count("\n") == 1
