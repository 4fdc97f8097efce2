"""Any number of files at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.problem import Problem
from bench.procedure.load.validate import check_files, files_in
from tests.procedure.small_bench import CLEAN, FOLLOW, GOOD, HEAD, MACHINE, TAPE, make_bench


def test_a_whole_workspace_is_right(tmp_path: Path) -> None:
    bench = make_bench(tmp_path, good=GOOD)
    files = files_in([tmp_path])
    assert len(files) == 6
    assert check_files(files, bench) == []


def test_each_problem_is_told_once_in_its_own_file(tmp_path: Path) -> None:
    bench = make_bench(tmp_path, good=GOOD, main=HEAD + CLEAN + FOLLOW, other=HEAD + "x = 1\n" + CLEAN)
    tape = bench.sheets / "tapes" / "ferric-daily.toml"
    tape.write_text(TAPE.replace('"I"', '"V"'), encoding="utf-8")
    findings = check_files(files_in([tmp_path]), bench)
    assert [(f.file.name, f.key) for f in findings] == [("other.toml", "x"), ("ferric-daily.toml", "iec_type")]
    alone = check_files([bench.procedures / "main.toml"], bench)
    assert sorted(f.key for f in alone) == ["step 2, procedure", "tape"]


@pytest.mark.parametrize(
    ("where", "text", "said"),
    [
        ("sheets/machines/a.toml", TAPE, "a tape sheet lies in machines/; move it to tapes/"),
        ("sheets/machines/b.toml", MACHINE.replace('sheet = "machine"\n', ""), "sheet: missing"),
        (
            "c.toml",
            MACHINE.replace('"machine"', '"mashine"'),
            '"mashine" is not a kind of sheet; did you mean "machine"?',
        ),
        ("d.toml", MACHINE.replace('"machine"', "3"), "must be text, not a number"),
        ("e.toml", MACHINE.replace("heads = 3", "heads = 5"), "heads: "),
        ("f.toml", "format = 1\n[", "is not TOML"),
    ],
)
def test_a_sheet_is_known_by_what_it_says_and_where_it_lies(tmp_path: Path, where: str, text: str, said: str) -> None:
    bench = make_bench(tmp_path)
    path = bench.procedures / where
    path.write_text(text, encoding="utf-8")
    findings = check_files([path], bench)
    assert len(findings) == 1
    assert said in findings[0].sentence


def test_sheets_beside_a_procedure_come_before_those_of_the_workspace(tmp_path: Path) -> None:
    mine = make_bench(tmp_path / "mine")
    theirs = make_bench(tmp_path / "theirs", good=GOOD)
    for tape in (mine.sheets / "tapes").iterdir():
        tape.unlink()
    assert check_files([theirs.procedures / "good.toml"], mine) == []


def test_what_is_missing(tmp_path: Path) -> None:
    with pytest.raises(Problem, match=r"a.toml, .*b: no such file or folder"):
        files_in([tmp_path / "a.toml", tmp_path, tmp_path / "b"])
    with pytest.raises(Problem, match=r"holds no \.toml file"):
        files_in([tmp_path])


def test_a_file_named_twice_is_checked_once(tmp_path: Path) -> None:
    bench = make_bench(tmp_path, good=GOOD)
    assert len(files_in([tmp_path, bench.procedures, bench.procedures / "good.toml"])) == 6
