"""`tapebench tones`: what it writes, prints and refuses."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import numpy as np
import pytest

from bench.audio.file import Capture
from bench.cli import main
from bench.procedure.load.library import Library
from bench.signals.start_mark import find_start_mark
from bench.signals.tones import Tone
from bench.workspace import Workspace

ROOT = Path(__file__).resolve().parents[2]


def sox_level(path: Path, start_s: float, seconds: float) -> list[float]:
    """RMS level of each channel by sox, a general-purpose tool, as dBFS of a sine (AES17: 3.0103 dB over its rms)."""
    command = f"sox {path} -n trim {start_s} {seconds} stats"
    out = subprocess.run(command.split(), capture_output=True, text=True, check=True).stderr
    row = next(line for line in out.splitlines() if line.startswith("RMS lev dB"))
    return [float(v) + 3.0103 for v in row.split()[4:]]


def test_a_list_is_written_with_exact_levels(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "tones.wav"
    assert main(["tones", str(path), "--list", "1000@-10, 10000@-20", "--seconds", "2", "--rate", "44100"]) == 0
    out, err = capsys.readouterr()
    assert out.splitlines() == [
        "   0.500 s  2.000 s long: 1 kHz at −10.0 dBFS",
        "   3.000 s  2.000 s long: 10 kHz at −20.0 dBFS",
    ]
    assert err.endswith("5.5 s, 44100 Hz, 24 bits, two channels\n")
    assert Capture(path).frames == round(5.5 * 44100)
    assert sox_level(path, 1.0, 1.0) == pytest.approx([-10.0, -10.0], abs=0.01)
    assert sox_level(path, 3.5, 1.0) == pytest.approx([-20.0, -20.0], abs=0.01)


def test_json_says_where_each_tone_lies(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "tones.flac"
    assert main(["tones", str(path), "--list", "400@-12", "--seconds", "1", "--leader", "--bits", "16", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    leader, tone = said["parts"]
    assert (said["sample_rate"], said["duration_s"]) == (48000, 3.5)
    assert (leader["says"], tone["says"]) == ("start mark", "400 Hz at −12.0 dBFS")
    found = find_start_mark(np.concatenate(list(Capture(path).blocks())), 48000)
    assert found is not None
    assert found[0] == leader["start_s"] * 48000
    assert sox_level(path, tone["start_s"] + 0.1, 0.5) == pytest.approx([-12.0, -12.0], abs=0.01)


def test_a_procedure_is_written_with_the_tones_that_it_sends(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "tones.wav"
    assert main(["--workspace", str(ROOT), "tones", str(path), "--procedure", "record-replay-check", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    job = Library(Workspace(ROOT)).load_job("record-replay-check")
    sent = [
        (t.hz, job.machine.reference.send_dbfs + t.db, t.seconds if step.kind == "record-replay" else 10.0)
        for step in job.steps
        if step.kind in {"record-replay", "measure"}
        for t in step.sends
    ]
    assert len(sent) > 5
    assert [(p["says"], p["seconds"]) for p in said["parts"]] == [
        (Tone(hz, db).description, seconds) for hz, db, seconds in sent
    ]
    first = said["parts"][0]
    assert sox_level(path, first["start_s"] + 0.1, first["seconds"] - 0.2) == pytest.approx([sent[0][1]] * 2, abs=0.01)


def test_a_line_up_sends_each_set_of_tones_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    written = []
    for name in ("record-replay-check", "line-up-cassette"):
        path = tmp_path / f"{name}.wav"
        code = main(["--workspace", str(ROOT), "tones", str(path), "--procedure", name, "--seconds", "1", "--json"])
        assert code == 0
        written.append([p["says"] for p in json.loads(capsys.readouterr().out)["parts"]])
    part, whole = written
    joined = "|".join(whole)
    assert joined.count("|".join(part)) == 1


def test_the_tones_of_a_calibration_have_their_own_levels(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "loop.wav"
    asked = ["tones", str(path), "--procedure", "calibrate-interface", "--seconds", "0.2", "--json"]
    assert main(["--workspace", str(ROOT), *asked]) == 0
    sent = {p["says"] for p in json.loads(capsys.readouterr().out)["parts"]}
    job = Library(Workspace(ROOT)).load_job("calibrate-interface")
    tones = {Tone(t.hz, t.dbfs).description for step in job.steps for t in getattr(step, "sends", ())}
    assert tones
    assert tones == sent


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--list", "1000"], '"1000" is not a tone; write HZ@DBFS'),
        (["--list", "1000@-10,,"], '"" is not a tone'),
        (["--list", "loud@-10"], '"loud@-10" is not a tone'),
        (["--list", "30000@-10"], "30 kHz can't be sent"),
        (["--list", "1000@3"], "3 dBFS can't be sent"),
        (["--list", "1000@-10", "--seconds", "0"], "--seconds 0"),
        (["--list", "1000@-10", "--seconds", "nan"], "--seconds nan"),
        (["--list", "1000@-10", "--rate", "0"], "--rate 0"),
        (["--list", "1000@-10", "--bits", "12"], "--bits"),
        (["--list", "1000@-10", "--machine", "x"], "--machine goes with --procedure"),
        (["--procedure", "clean"], "clean sends no tones"),
        (["--procedure", "cleen"], 'there is no procedure "cleen"'),
        ([], "--list"),
    ],
)
def test_bad_options_are_one_line_and_exit_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], options: list[str], said: str
) -> None:
    assert main(["--workspace", str(ROOT), "tones", str(tmp_path / "out.wav"), *options]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert said in err
    assert list(tmp_path.iterdir()) == []


def test_it_does_not_write_over_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "tones.wav"
    path.write_text("kept")
    assert main(["tones", str(path), "--list", "1000@-10", "--seconds", "1"]) == 2
    assert "is there already" in capsys.readouterr().err
    assert path.read_text() == "kept"
    assert main(["tones", str(path), "--list", "1000@-10", "--seconds", "1", "--force"]) == 0
    assert Capture(path).frames == 2 * 48000
