"""`tapebench measure` from the command line: JSON, text, exit codes."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from bench.cli import main
from bench.commands.measure import sentence
from bench.measure.catalogue import METERS
from bench.measure.method import Method
from bench.measure.reading import NoReading, Reading
from tests.measure.spoiled import Tone, after, hiss, silence, stereo

RATE = 44100
KEYS = ["quantity", "channel", "value", "unit", "uncertainty", "frequency_hz", "method"]


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    x = after(
        [silence(0.4, RATE)]
        + [
            part
            for hz, db in ((1000.0, -20.0), (10000.0, -22.0), (3150.0, -12.0))
            for part in (stereo(Tone(hz, db, 1.0, delay_s=5e-6), RATE), silence(0.3, RATE))
        ]
    )
    path = tmp_path / "capture.wav"
    soundfile.write(path, x + hiss(len(x), -80.0, RATE, np.random.default_rng(0)), RATE, subtype="PCM_24")
    return path


def run(capsys: pytest.CaptureFixture[str], *argv: str | Path) -> tuple[int, str, str]:
    code = main(["measure", *map(str, argv)])
    told = capsys.readouterr()
    return code, told.out, told.err


def as_json(capsys: pytest.CaptureFixture[str], *argv: str | Path) -> dict[str, Any]:
    code, out, _ = run(capsys, *argv, "--json")
    assert code == 0
    return dict(json.loads(out))


def test_the_json_contract(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = as_json(capsys, "level", capture, "--frequency", "1000")
    assert list(told) == ["file", "sample_rate", "duration_s", "readings", "warnings"]
    assert (told["file"], told["sample_rate"]) == (str(capture), RATE)
    assert told["duration_s"] == pytest.approx(4.3, abs=0.01)
    left = told["readings"][0]
    assert list(left)[:7] == KEYS
    assert left["value"] == pytest.approx(-20.0, abs=1e-3)
    assert (left["quantity"], left["channel"], left["unit"], left["frequency_hz"]) == ("level", "left", "dBFS", 1000.0)
    assert [r["channel"] for r in told["readings"]] == ["left", "right", "left-right"]


def test_every_quantity_of_tones(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    response = as_json(capsys, "response", capture, "--frequencies", "1000,10000", "--reference-frequency", "1000")
    assert [round(r["value"], 2) for r in response["readings"]] == [0.0, 0.0, -2.0, -2.0]
    azimuth = as_json(capsys, "azimuth", capture, "--speed", "47.625", "--track-spacing", "0.9")
    values = {r["quantity"]: r["value"] for r in azimuth["readings"]}
    assert values["azimuth_delay"] == pytest.approx(5.0, abs=0.01)
    # 5497.1 ns are one arc-minute on a cassette (geometry, computed).
    assert values["azimuth_angle"] == pytest.approx(5.0 / 5.4971, abs=0.003)
    speed = as_json(capsys, "speed", capture, "--nominal", "3150")
    assert speed["readings"][0]["value"] == pytest.approx(0.0, abs=1e-4)


def test_a_sheet_by_its_path(capture: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = tmp_path / "tape.toml"
    sections = "".join(
        f'\n[[section]]\nid = "s{n}"\npurpose = "response"\nhz = {hz}\ndb = {db}\n'
        f"seconds = 10.0\nrecorded_error_db = {e}\n"
        for n, (hz, db, e) in enumerate([(1000.0, -20.0, 0.0), (10000.0, -20.0, 0.5)])
    )
    sheet.write_text(
        'format = 1\nsheet = "reference-tape"\nname = "Lanternhill tape"\nspeed_mm_s = 47.625\n'
        "fluxivity_nwb_m = 250.0\n"
        'fluxivity_method = "DIN"\nequalisation_us = [120.0, 3180.0]\nuncertainty_db = 0.3\n'
        f"speed_uncertainty_percent = 0.1\nazimuth_uncertainty_arcmin = 1.0\n{sections}",
        encoding="utf-8",
    )
    told = as_json(capsys, "response", capture, "--sheet", sheet)
    assert [round(r["value"], 2) for r in told["readings"]] == [0.0, 0.0, -2.5, -2.5]


def test_flutter_is_laid_to_the_parts_of_a_machine(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # At 47.625 mm/s a capstan of 2.2 mm turns 47.625 / (2.2 π) = 6.89 times a second (geometry).
    x = stereo(Tone(3150.0, -12.0, 8.0, flutter=((6.89, 1e-3),)), RATE)
    soundfile.write(tmp_path / "x.wav", x + hiss(len(x), -70.0, RATE, np.random.default_rng(0)), RATE, subtype="PCM_24")
    told = as_json(capsys, "flutter", tmp_path / "x.wav", "--machine", "two-head-cassette")
    methods = {r["method"] for r in told["readings"] if r["quantity"] == "flutter_component"}
    assert len(methods) == 1
    assert methods.pop().endswith("comes round every 0.15 s, as the capstan does")


def test_one_line_a_reading_and_warnings_apart(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "level", capture)
    assert code == 0
    assert re.match(
        r"level, left, 3.15 kHz: −1[12]\.\d+ ± 0\.01 dBFS \(k = 2, of this stretch alone\), re full-scale", out
    )
    assert "alone), re full-scale sine (AES17), mean level of the steady tone" in out
    assert len(out.splitlines()) == 3
    assert err.startswith("warning: the tone with the most energy was measured")


def test_a_reading_in_words() -> None:
    assert sentence(NoReading("level", "left", "the capture is silent")) == (
        "level, left: no reading, because the capture is silent"
    )
    bound = Reading("separation", "left-right", 61.234, 0.2, bound="at least", method=Method("m"), reference="r")
    assert sentence(bound) == "separation, left to right: at least 61.2 ± 0.20 dB (k = 2), re r, m"
    assert sentence(Reading("dropout_count", "left", 3.0, 0.0)) == "dropouts, left: 3"


@pytest.mark.parametrize(
    "argv",
    [
        ("loudness", "FILE"),
        ("level", "missing.wav"),
        ("level", "FILE", "--frequency", "0"),
        ("level", "FILE", "--frequency", "nan"),
        ("level", "FILE", "--frequency", "loud"),
        ("response", "FILE", "--frequencies", "1000,,2000"),
        ("response", "FILE", "--frequencies", "1000,1000"),
        ("response", "FILE", "--sheet", "no-such-tape"),
        ("azimuth", "FILE", "--speed", "47.6"),
        ("level", "FILE", "--channels", "3"),
        ("level", "FILE", "--channels", "left"),
        ("level",),
    ],
)
def test_bad_usage_is_one_line_and_exit_2(
    argv: tuple[str, ...], capture: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(capture.parent)
    code, out, err = run(capsys, *(str(capture) if a == "FILE" else a for a in argv))
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert "Traceback" not in err


def test_a_capture_with_a_sample_that_is_no_number(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    x = stereo(Tone(1000.0, -20.0, 1.0), RATE)
    x[20000, 1] = np.nan
    soundfile.write(tmp_path / "x.wav", x, RATE, subtype="FLOAT")
    code, out, err = run(capsys, "level", tmp_path / "x.wav")
    assert (code, out, len(err.splitlines())) == (2, "", 1)


@pytest.mark.parametrize("quantity", ["level", "response", "azimuth", "speed"])
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("seconds", [0.01, 2.0])
def test_nothing_to_measure_is_no_reading_and_exit_0(
    quantity: str, channels: int, seconds: float, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "silent.wav"
    soundfile.write(path, np.zeros((round(seconds * RATE), channels)), RATE)
    told = as_json(capsys, quantity, path)
    assert told["readings"]
    assert all(r["value"] is None and r["uncertainty"] is None and r["reason"] for r in told["readings"])


def test_a_tone_above_half_the_sample_rate(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = as_json(capsys, "level", capture, "--frequency", "30000")
    assert "half the sample rate" in told["readings"][0]["reason"]


def spoil(folder: Path, how: str) -> Path:
    """A file with something wrong."""
    tone = np.stack([0.1 * np.sin(2 * np.pi * 1000.0 * np.arange(48000) / 48000.0)] * 2, axis=1)
    path = folder / f"{how}.wav"
    match how:
        case "missing":
            return path
        case "folder":
            path.mkdir()
        case "empty":
            path.touch()
        case "text":
            path.write_text("this is no sound\n" * 50, encoding="utf-8")
        case "cut short":
            path = folder / "cut.flac"
            soundfile.write(path, tone, 48000)
            path.write_bytes(path.read_bytes()[: path.stat().st_size // 3])
        case "six channels":
            soundfile.write(path, np.repeat(tone, 3, axis=1), 48000)
        case "no frames":
            soundfile.write(path, tone[:0], 48000)
        case "not a number" | "infinite":
            tone[1000] = np.nan if how == "not a number" else np.inf
            soundfile.write(path, tone.astype(np.float32), 48000, subtype="FLOAT")
        case "clipped":
            soundfile.write(path, np.clip(20.0 * tone, -1.0, 1.0), 48000)
        case "brief":
            soundfile.write(path, tone[:200], 48000)
        case "slow":
            soundfile.write(path, tone[::6], 8000)
        case _:
            soundfile.write(path, np.full((48000, 2), 0.5), 48000)
    return path


REFUSED = ("missing", "folder", "empty", "text", "six channels", "no frames", "not a number", "infinite")


@pytest.mark.parametrize("how", [*REFUSED, "cut short", "clipped", "brief", "slow", "direct current"])
@pytest.mark.parametrize("quantity", METERS)
def test_every_quantity_of_every_bad_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], quantity: str, how: str
) -> None:
    """Either one sentence that names the file, or readings, none of them made up."""
    path = spoil(tmp_path, how)
    code, out, told = run(capsys, quantity, path)
    if how in REFUSED:
        assert (code, out) == (2, "")
        assert len(told.splitlines()) == 1
        assert str(path) in told
        return
    assert code in (0, 1)
    assert not {"nan", "inf", "-inf"} & set(out.lower().split())
