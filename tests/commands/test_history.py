"""`tapebench history` and `tapebench compare`."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from bench.cli import main
from tests.session.years import visit


@pytest.fixture(name="workspace")
def _workspace(tmp_path: Path) -> Path:
    visit(tmp_path, 0, -13.0, -12.0)
    visit(tmp_path, 1, -12.4, -12.0)
    visit(tmp_path, 2, None, -12.0, machine="Reel")
    return tmp_path


def said(capsys: pytest.CaptureFixture[str], *args: str) -> str:
    assert main([*args]) == 0
    return capsys.readouterr().out


def test_the_list(workspace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = said(capsys, "--workspace", str(workspace), "history", "--interval", "18")
    assert out.splitlines() == [
        "Lanternhill two-head deck: 2 sessions, due again 2022-07-01 by the interval",
        (
            "    2021-01-01 10:00  2021-01-01-1000-lanternhill-two-head-deck  Line up a cassette deck: "
            "All in. The judged reading at 1 step is in."
        ),
        (
            "    2020-01-01 10:00  2020-01-01-1000-lanternhill-two-head-deck  Line up a cassette deck: "
            "All in. The judged reading at 1 step is in."
        ),
        "Reel: 1 session, due again 2023-07-01 by the interval",
        (
            "    2022-01-01 10:00  2022-01-01-1000-reel  Line up a cassette deck: "
            "All in. The judged reading at 1 step is in."
        ),
        "",
        "What drifts may bring a machine back sooner: --machine reads its sessions and says so.",
    ]
    table = json.loads(said(capsys, "--workspace", str(workspace), "history", "--json"))
    assert [m["machine"] for m in table["machines"]] == ["Lanternhill two-head deck", "Reel"]
    assert table["machines"][0]["sessions"][1]["reference_plays"] == 2
    assert (table["machines"][0]["due"], table["machines"][0]["due_by"]) == ("2022-01-01", "interval")
    assert table["not_counted"] == []


def test_one_machine(workspace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    args = ("--workspace", str(workspace), "history", "--machine", "two-head")
    assert "drift: −0.40 ± 0.17 dB a year" in said(capsys, *args)
    table = json.loads(said(capsys, *args, "--quantity", "level", "--json"))
    (series,) = table["series"]
    assert series["drift"]["per_year"] == pytest.approx(-0.4, abs=0.01)
    assert series["drift"]["unit"] == "dB a year"
    assert series["drift"]["reaches_tolerance"].startswith("2022-0")
    assert [r["value"] for r in series["readings"]] == [-13.0, -12.0, -12.4, -12.0]
    assert len(table["visits"]) == 2


def test_two_sessions(workspace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    names = [f"{year}-01-01-1000-lanternhill-two-head-deck" for year in (2020, 2021)]
    args = ("--workspace", str(workspace), "compare", *names)
    assert said(capsys, *args).endswith("1 no change shown.\n")
    table = json.loads(said(capsys, *args, "--of", "between", "--json"))
    assert table["rows"][0]["state"] == "changed"
    assert table["rows"][0]["difference"] == pytest.approx(-0.4)
    assert table["rows"][0]["difference_unit"] == "dB"


@pytest.mark.parametrize(
    "args",
    [
        ["history", "--machine", "nobody"],
        ["history", "--quantity", "level"],
        ["history", "--machine", "Reel", "--quantity", "loudness"],
        ["history", "--interval", "0"],
        ["compare", "one", "another"],
        ["compare", "--of", "right", "a", "b"],
    ],
)
def test_what_cannot_be_is_one_line(workspace: Path, capsys: pytest.CaptureFixture[str], args: list[str]) -> None:
    assert main(["--workspace", str(workspace), *args]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert out.err.startswith("tapebench: ")
    assert out.err.count("\n") == 1


def test_no_sessions_yet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "procedures").mkdir()
    assert said(capsys, "--workspace", str(tmp_path), "history") == "No sessions yet.\n"


def test_the_list_loads_nothing_heavy() -> None:
    code = "import bench.cli, bench.commands.history, sys; print(*sorted({m.split('.')[0] for m in sys.modules}))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert not {"numpy", "pydantic", "tomli_w", "scipy", "matplotlib"} & set(loaded)
