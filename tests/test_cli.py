"""The command line: exit codes, one line on stderr, never a traceback."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from bench import __version__, cli
from bench.problem import Problem


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main(["--version"])
    assert ended.value.code == 0
    assert capsys.readouterr().out == f"tapebench {__version__}\n"


@pytest.mark.parametrize(
    "argv",
    [
        ["nonsense"],
        ["measure"],
        ["measure", "level", "missing.wav"],
        ["rehearse", "line-up-cassette", "--seed", "many"],
        ["run", "line-up-cassette", "--port", "missing.wav"],
        ["--workspace", "/nowhere/at/all", "validate", "x.toml"],
        ["tones", "out.wav"],
    ],
)
def test_bad_usage_and_input_is_one_line_and_exit_2(argv: list[str], tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "bench", *argv],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        env={"HOME": str(tmp_path), "PATH": "/usr/bin:/bin", "PYTHONPATH": str(Path(cli.__file__).parents[1])},
    )
    assert done.returncode == 2
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert line.startswith("tapebench: ")
    assert not line.startswith("tapebench: tapebench")


@pytest.mark.parametrize(
    ("raised", "code", "said"),
    [
        (Problem("the file is not there"), 2, "tapebench: the file is not there\n"),
        (KeyboardInterrupt(), 130, "tapebench: interrupted\n"),
    ],
)
def test_what_ends_a_command(
    raised: BaseException, code: int, said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def ends(_: list[str]) -> int:
        raise raised

    monkeypatch.setattr(cli, "_dispatch", ends)
    assert cli.main([]) == code
    assert capsys.readouterr().err == said


def test_a_fault_of_ours_leaves_a_file_to_send(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def breaks(_: list[str]) -> int:
        raise ZeroDivisionError("ours")

    monkeypatch.setattr(cli, "_dispatch", breaks)
    assert cli.main([]) == 3
    (line,) = capsys.readouterr().err.splitlines()
    file = Path(line.rsplit(" ", 1)[1])
    text = file.read_text(encoding="utf-8")
    file.unlink()
    assert "ZeroDivisionError: ours" in text
    assert f"tapebench {__version__}" in text
