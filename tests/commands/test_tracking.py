"""`tapebench tracking`: what it prints, as text and as JSON, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bench.cli import main
from tests.smooth import smooth_procedures

ROOT = Path(__file__).resolve().parents[2]


def test_the_json_is_what_was_agreed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tracking", "--level-error", "-2", "--json"]) == 0
    out = json.loads(capsys.readouterr().out)
    assert list(out) == [
        *("system", "reference", "levels_db", "frequencies_hz", "error_db", "mistracking_db", "heard_db"),
        *("level_error_db", "worst", "tolerance_db", "verdict", "because"),
    ]
    assert (out["system"], out["tolerance_db"], out["verdict"]) == ("type-b", 3.0, "in")
    assert (out["levels_db"][0], out["levels_db"][-1]) == (0.0, -50.0)
    assert (out["frequencies_hz"][0], out["frequencies_hz"][-1]) == (40.0, 16000.0)
    assert len(out["mistracking_db"]) == len(out["levels_db"])
    assert {len(row) for row in out["mistracking_db"]} == {len(out["frequencies_hz"])}
    worst = out["worst"]
    row = out["mistracking_db"][out["levels_db"].index(worst["level_db"])]
    assert row[out["frequencies_hz"].index(worst["frequency_hz"])] == worst["mistracking_db"]
    assert worst["mistracking_db"] == min(min(r) for r in out["mistracking_db"])
    assert out["because"] == "the level that comes back is 2 dB low"


def test_what_is_heard_is_the_response_error_and_the_mistracking(capsys: pytest.CaptureFixture[str]) -> None:
    errors = ["--level-error", "-0.5", "--treble-error", "2000:-0.5,4000:-1.5,8000:-1.5,10000:-2"]
    assert main(["tracking", *errors, "--json"]) == 1
    out = json.loads(capsys.readouterr().out)
    for heard, mistracking in zip(out["heard_db"], out["mistracking_db"], strict=True):
        for both, one, error in zip(heard, mistracking, out["error_db"], strict=True):
            assert both == pytest.approx(one + error - out["level_error_db"], abs=2e-4)
    worst = out["worst"]
    assert worst["heard_db"] == pytest.approx(worst["response_error_db"] + worst["mistracking_db"], abs=2e-4)
    assert main(["tracking", *errors]) == 1
    text = capsys.readouterr().out
    assert text.startswith(
        "out: music will sound dull: −4.8 dB at 10 kHz at −26 dB (−2 dB of response error and −2.8 dB "
    )
    assert text.index("response error, dB") < text.index("mistracking of Type B") < text.index("heard: response error")


def test_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tracking", "--treble-error", "4000:-4, 10000:-10", "--system", "type-b"]) == 1
    first = capsys.readouterr().out.splitlines()[0]
    assert first.startswith("out: music will sound dull: −")
    assert first.endswith(", because the treble is 10 dB low at 10 kHz")


def test_the_tolerance_decides(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tracking", "--level-error", "-2", "--tolerance", "2"]) == 1
    assert main(["tracking", "--level-error", "-6", "--tolerance", "7"]) == 0
    assert capsys.readouterr().out.count("music will sound") == 2


def test_a_session_tells_its_own_errors(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    smooth_procedures(tmp_path / "procedures")
    workspace = ["--workspace", str(tmp_path)]
    assert main([*workspace, "rehearse", "fit-for-noise-reduction", "--seed", "1", "--json"]) == 1
    session = json.loads(capsys.readouterr().out)
    assert main([*workspace, "tracking", "--session", Path(session["session"]).name, "--json"]) == 1
    told = capsys.readouterr()
    assert told.err == "from the session, as left: level at −20 dB, response at −20 dB and 8 frequencies\n"
    out = json.loads(told.out)
    assert (out["verdict"], out["because"].rsplit(" in ", 1)[1]) == ("out", "the right channel")
    # The same errors, typed.
    right = [r for r in session["readings"] if r["channel"] == "right"]
    level = [r["value"] for r in right if r["quantity"] == "record_replay_level"][-1]
    treble = ",".join(f"{r['frequency_hz']}:{r['value']}" for r in right if r["quantity"] == "response")
    assert main(["tracking", f"--level-error={level}", "--treble-error", treble, "--json"]) == 1
    typed = json.loads(capsys.readouterr().out)
    assert typed["worst"] == out["worst"]


def test_either_minus_sign_is_read(capsys: pytest.CaptureFixture[str]) -> None:
    for minus in "-−":
        assert main(["tracking", f"--level-error={minus}6", "--treble-error", f"10000:{minus}2"]) == 1
    first, second = capsys.readouterr().out.split("out: ")[1:]
    assert first == second


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ([], "give an error: --level-error DB"),
        (["--level-error", "x"], "invalid decibels value"),
        (["--level-error", "inf"], "an error of inf dB is no machine's"),
        (["--treble-error", "10000"], '"10000" is not HZ:DB, such as 10000:-3'),
        (["--treble-error", "400:-2"], "say it as a level error"),
        (["--level-error", "-2", "--tolerance", "-1"], "a tolerance of -1 dB"),
        (["--level-error", "-2", "--system", "type-x"], "invalid choice: 'type-x'"),
        (["--session", "nowhere"], "nowhere: no such session"),
        (["--session", "nowhere", "--level-error", "1"], "--session has its own errors"),
    ],
)
def test_bad_usage_is_one_sentence(options: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--workspace", str(ROOT), "tracking", *options]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert len(err.splitlines()) == 1
