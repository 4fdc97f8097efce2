"""A capture made by other tools, measured by a procedure: tones by sox, announcements by espeak-ng."""

from __future__ import annotations

import json
import random
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from tests.measure.test_other_tools import say, sox

REPO = Path(__file__).parents[2]
SHEETS = REPO / "procedures" / "sheets"


def capture(folder: Path, rate: int, bits: int, speed_hz: float = 3150.0, higher_db: float = 0.0) -> Path:
    """Every section of the shipped reference tape, in scrambled order, an announcement before each."""
    tape = tomllib.loads((SHEETS / "reference-tapes" / "cassette-reference.toml").read_text(encoding="utf-8"))
    sections = [s for s in tape["section"] if s["purpose"] != "azimuth"]
    if not higher_db:
        random.Random(5).shuffle(sections)
    if speed_hz != 3150.0:
        sections = [s for s in sections if s["purpose"] != "speed"] + [
            {"purpose": "speed", "hz": speed_hz, "db": -10.0}
        ]
    parts: list[Path] = []
    for n, s in enumerate(sections):
        spoken, voice, tone = folder / f"v{n}.wav", folder / f"s{n}.wav", folder / f"t{n}.wav"
        say(f"{s['purpose']}, {s['hz']:g} hertz", spoken, pitch=30 + 2 * n)
        sox(spoken, "-r", rate, "-c", 2, "-b", bits, voice, "gain", -9, "pad", 0.2, 0.3)
        level = higher_db - 12.0 + s["db"] + s.get("recorded_error_db", 0.0)
        sox("-n", "-r", rate, "-c", 2, "-b", bits, tone, "synth", 2.0, "sine", s["hz"], "gain", level, "pad", 0, 0.4)
        parts += [voice, tone]
    whole = folder / "capture.wav"
    sox(*parts, whole)
    return whole


def without_azimuth(folder: Path) -> None:
    """The shipped procedures, of which `play-reference` asks for no azimuth."""
    shutil.copytree(REPO / "procedures", folder / "procedures")
    play = folder / "procedures" / "play-reference.toml"
    text = play.read_text(encoding="utf-8").replace('azimuth_delay = "machine.replay_azimuth"\n', "")
    text = text.replace('id = "play"\n', 'id = "play"\npurposes = ["level", "response", "speed"]\n')
    play.write_text(text, encoding="utf-8")


def played(file: Path) -> subprocess.CompletedProcess[str]:
    """What `play-reference` makes of a capture in its own folder."""
    command = [sys.executable, "-m", "bench", "run", "play-reference", "--port", str(file), "--json"]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=file.parent)


@pytest.mark.parametrize(("rate", "bits"), [(44100, 16), pytest.param(96000, 24, marks=pytest.mark.long)])
def test_a_capture_is_played_through_a_procedure(rate: int, bits: int, tmp_path: Path) -> None:
    without_azimuth(tmp_path)
    file = capture(tmp_path, rate, bits)
    done = played(file)
    assert done.returncode == 0, done.stderr
    assert "skip thread: a capture was measured, and nobody was at the machine" in done.stderr
    assert not [line for line in done.stderr.splitlines() if line.startswith(("tick", "act", "answer"))]
    told = json.loads(done.stdout)
    assert set(told["verdicts"]) == {"in"}
    levels = [r["value"] for r in told["readings"] if r["quantity"] == "level"]
    responses = {(r["channel"], r["frequency_hz"]): r["value"] for r in told["readings"] if r["quantity"] == "response"}
    assert levels == [pytest.approx(-12.0, abs=0.1)] * 4
    assert len(responses) == 24
    for (_, hz), value in responses.items():
        recorded_error = {40.0: -0.1, 10000.0: 0.2, 12500.0: 0.3}.get(hz, 0.0)
        assert value == pytest.approx(recorded_error, abs=0.1)


def test_a_capture_that_is_20_db_low_is_no_tape_without_its_level_section(tmp_path: Path) -> None:
    """The responses are 20 dB below the level section: so the level tone reads like the first of them."""
    without_azimuth(tmp_path)
    file = capture(tmp_path, 44100, 24, higher_db=-20.0)
    done = played(file)
    assert done.returncode == 1, done.stderr
    told = json.loads(done.stdout)["readings"]
    assert [r["value"] for r in told if r["quantity"] == "level"] == [pytest.approx(-32.0, abs=0.1)] * 4
    responses = [r["value"] for r in told if r["quantity"] == "response" and r["value"] is not None]
    assert len(responses) >= 22  # a voice may drown one of these soft tones
    assert max(map(abs, responses)) < 0.4


def test_a_speed_tone_of_another_frequency_is_no_speed_error(tmp_path: Path) -> None:
    """Speed tapes are made with 3150 Hz and with 3000 Hz (IEC 60386; JIS and NAB, from memory): 5 % apart."""
    shutil.copytree(REPO / "procedures", tmp_path / "procedures")
    file = capture(tmp_path, 44100, 16, speed_hz=3000.0)
    done = played(file)
    readings = [r for r in json.loads(done.stdout)["readings"] if r["quantity"] == "speed_error"]
    assert [r["value"] for r in readings] == [None, None]
    assert "by the other tones 3.15 kHz is 3 kHz on this tape" in readings[0]["reason"]


def test_a_tone_that_is_clipped_at_full_scale_is_no_level(tmp_path: Path) -> None:
    shutil.copytree(REPO / "procedures", tmp_path / "procedures")
    file = capture(tmp_path, 44100, 16, higher_db=14.0)
    done = played(file)
    readings = [r for r in json.loads(done.stdout)["readings"] if r["quantity"] in ("level", "balance")]
    assert readings
    assert {r["value"] for r in readings} == {None}
    assert {r["reason"] for r in readings} == {
        "the tone is clipped at full scale: lower the machine's output or the interface's input"
    }


def test_a_capture_cannot_be_adjusted_and_says_so(tmp_path: Path) -> None:
    shutil.copytree(REPO / "procedures", tmp_path / "procedures")
    tone = tmp_path / "tone.wav"
    sox("-n", "-r", 48000, "-c", 2, "-b", 16, tone, "synth", 2, "sine", 400, "gain", -12)
    done = subprocess.run(
        [sys.executable, "-m", "bench", "run", "record-replay-check", "--port", str(tone)],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
    )
    assert done.returncode == 1
    assert "skip level: no reading, because a file cannot be adjusted" in done.stderr
    assert "Level at 400 Hz, −20 dB" in done.stdout
    assert "Traceback" not in done.stderr


def test_a_capture_records_nothing_that_nobody_did(tmp_path: Path) -> None:
    """Cleaning, with its minutes of drying, is neither claimed nor waited for."""
    shutil.copytree(REPO / "procedures", tmp_path / "procedures")
    tone = tmp_path / "tone.wav"
    sox("-n", "-r", 48000, "-c", 2, "-b", 16, tone, "synth", 2, "sine", 315, "gain", -12)
    command = [sys.executable, "-m", "bench", "run", "clean", "--port", str(tone)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=tmp_path, timeout=120)
    assert "skip dry: a capture was measured, and nobody was at the machine" in done.stderr
    assert not [line for line in done.stderr.splitlines() if line.startswith(("tick", "act", "answer", "wait"))]
