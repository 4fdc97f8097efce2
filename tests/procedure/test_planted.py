"""One planted mistake of every kind: each is reported exactly once, on its line, and nothing else is.

The files are in `planted/`. A comment on a line has what must be reported: the key, a colon, part of the sentence.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from bench.cli import main
from bench.procedure.load.file_problems import Finding
from bench.procedure.load.validate import check_files, files_in
from bench.workspace import Workspace

PLANTED = Path(__file__).parent / "planted"


def _planted() -> list[tuple[str, int, str, str]]:
    """(file, line, key, part of the sentence)."""
    out = []
    for path in sorted((PLANTED / "procedures").rglob("*.toml")):
        for n, line in enumerate(path.read_text(encoding="utf-8", errors="replace").splitlines(), start=1):
            _, hash_sign, comment = line.rpartition("# ")
            if hash_sign and ": " in comment and "must be told" not in comment:
                for said in comment.split(" && "):
                    key, _, part = said.strip().partition(": ")
                    out.append((path.name, n, key.removeprefix(": "), part.removeprefix(": ")))
    return out


def _told() -> list[Finding]:
    return check_files(files_in([PLANTED]), Workspace(PLANTED))


def test_each_is_told_once_on_its_line_and_nothing_else() -> None:
    left = _told()
    missed = []
    for file, line, key, part in _planted():
        found = [f for f in left if (f.file.name, f.line, f.key) == (file, line, key)]
        found = [f for f in found if part in f"{f.message}; {f.remedy}"]
        if len(found) == 1:
            left.remove(found[0])
        else:
            missed.append((file, line, key, part, [f.sentence for f in found]))
    assert missed == []
    assert [f.sentence for f in left] == []


def test_there_are_enough_kinds() -> None:
    in_one_file = [p for p in _planted() if p[0] == "every-mistake.toml"]
    assert len(in_one_file) >= 25
    assert len(_planted()) >= 80


def test_every_sentence_is_one_line_with_a_remedy() -> None:
    for finding in _told():
        assert finding.message
        assert finding.remedy
        assert finding.sentence.isprintable()
        assert not re.search(r"\b(dict|str|tuple|None|NoneType|float|bool|pydantic)\b", finding.sentence)


def test_the_command_tells_them_all_and_ends_with_1(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--workspace", str(PLANTED), "validate", str(PLANTED)]) == 1
    out = capsys.readouterr()
    assert len(out.out.splitlines()) == len(_planted())
    assert out.err.endswith(f": {len(_planted())} problems\n")
    assert main(["--workspace", str(PLANTED), "validate", str(PLANTED), "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert len(told["findings"]) == len(_planted())
    assert all(f["remedy"] for f in told["findings"])
