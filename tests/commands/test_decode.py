"""`tapebench decode` and `encode`: what they write, what they print, and what they refuse."""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np
import pytest
import soundfile

from bench.cli import main
from bench.signals.demo_music import demo_music
from tests.session.fleet_of import Machine, exchange, session

ROOT = Path(__file__).resolve().parents[2]
RATE = 48000
REFERENCE = ["--reference-level", "-12"]
ERRORS = ["--level-error", "−2", "--treble-error", "4000:-2,10000:-6"]
ERRORS += ["--azimuth-delay", "31.5", "--speed-error", "0.5"]
MUSIC = 0.3 * demo_music(RATE)[3 * RATE : 6 * RATE]


@pytest.fixture
def music(tmp_path: Path) -> Path:
    path = tmp_path / "music.wav"
    soundfile.write(path, MUSIC, RATE, subtype="PCM_24")
    return path


@pytest.fixture
def transfer(music: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    out = tmp_path / "transfer.flac"
    assert main(["encode", str(music), str(out), *REFERENCE, *ERRORS]) == 0
    capsys.readouterr()
    return out


def test_what_was_encoded_with_errors_comes_back(transfer: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = transfer.with_name("decoded.wav")
    assert main(["decode", str(transfer), str(out), *REFERENCE, *ERRORS, "--uncertainty", "0.4", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    sound, rate = soundfile.read(out)
    assert rate == RATE
    length = min(len(sound), len(MUSIC))
    left = (sound[:length] - MUSIC[:length])[1000:-1000]
    assert 20 * np.log10(np.std(left) / np.std(MUSIC)) < -60
    assert list(said) == [
        *("file", "out", "text", "does", "system", "sample_rate", "channels", "duration_s", "reference"),
        *("reference_level_dbfs", "out_reference_level_dbfs", "session", "stage", "replayed_on", "errors"),
        *("azimuth_delay_us", "azimuth_course", "speed_error_percent", "uncertainty", "spectrum", "passages"),
        *("hiss_heard", "findings", "warnings"),
    ]
    assert said["hiss_heard"] is False
    assert (said["azimuth_delay_us"], said["speed_error_percent"]) == (31.5, 0.5)
    assert [e["level_error_db"] for e in said["errors"]] == [-2.0, -2.0]
    assert said["errors"][0]["treble_error_db"][1] == {"frequency_hz": 10000.0, "db": -6.0}
    lowest = [u for u in said["uncertainty"] if u["level_db"] == -40 and u["frequency_hz"] == 400]
    assert [u["channel"] for u in lowest] == ["left", "right"]
    assert lowest[0]["uncertainty_db"] == pytest.approx(0.4, abs=0.01)
    text = Path(said["text"])
    assert text == out.with_name("decoded.wav.txt")
    told = text.read_text(encoding="utf-8")
    assert "  left: level −2.00 ± 0.40 dB\n" in told
    assert "  azimuth: 31.50 µs, right channel late\n  speed: +0.500 %\n" in told
    assert "was noise reduction out at the transfer?" in told
    assert sorted(p.name for p in out.parent.iterdir()) == [
        *("decoded.wav", "decoded.wav.txt", "music.wav", "transfer.flac", "transfer.flac.txt"),
    ]


def test_a_delay_as_the_programme_shows_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source, out = tmp_path / "late.wav", tmp_path / "out.wav"
    music = 0.3 * demo_music(RATE)
    late = np.stack((music[:, 0], np.roll(music[:, 1], 1)), axis=1)  # by a sample
    # Two sittings: in the second one the left channel is late.
    late = np.concatenate((late, late, late[:, ::-1], late[:, ::-1]))
    soundfile.write(source, late, RATE, subtype="PCM_24")
    command = ["decode", str(source), str(out), *REFERENCE, "--azimuth-delay", "programme", "--force"]
    assert main([*command, "--json"]) == 0
    course = json.loads(capsys.readouterr().out)["azimuth_course"]
    assert course["stretches_read"] == 4
    assert [p["at_s"] for p in course["points"]] == [5.0, 15.0, 25.0, 35.0]
    sample_us = 1e6 / RATE
    wanted = [sample_us, sample_us, -sample_us, -sample_us]
    assert [p["delay_us"] for p in course["points"]] == pytest.approx(wanted, abs=course["uncertainty_us"])
    told = Path(f"{out}.txt").read_text(encoding="utf-8")
    assert "by the programme, read in 4 of 4 stretches of 10 s, ±" in told
    assert "\n    0:05 20." in told
    assert "\n    0:25 −20." in told
    soundfile.write(source, np.tile(music, (2, 1)), RATE, subtype="PCM_24")
    assert main(command) == 0
    assert "does not change along the tape" in Path(f"{out}.txt").read_text(encoding="utf-8")
    soundfile.write(source, 0.01 * np.random.default_rng(1).standard_normal((10 * RATE, 2)), RATE, subtype="PCM_24")
    assert main([*command[:2], str(tmp_path / "none.wav"), *command[3:]]) == 2
    assert "shows no azimuth delay: the two channels have too little in common" in capsys.readouterr().err
    assert sorted(p.name for p in tmp_path.iterdir()) == ["late.wav", "out.wav", "out.wav.txt"]


def test_without_uncertainty_none_is_stated(transfer: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = transfer.with_name("decoded.wav")
    assert main(["decode", str(transfer), str(out), *REFERENCE]) == 0
    assert "left: no figure, because the uncertainty of the errors is not known" in capsys.readouterr().out


@pytest.mark.parametrize(("rate", "channels", "ending"), [(44100, 1, "flac"), (96000, 2, "wav"), (192000, 2, "flac")])
def test_any_rate_and_channels(rate: int, channels: int, ending: str, tmp_path: Path) -> None:
    source, coded, out = tmp_path / "in.wav", tmp_path / "coded.wav", tmp_path / f"out.{ending}"
    wave = 0.001 * np.sin(2 * np.pi * 5000 * np.arange(rate) / rate)
    soundfile.write(source, np.stack([wave] * channels, axis=1), rate, subtype="PCM_24")
    for system in ("type-b", "type-a"):
        assert main(["encode", str(source), str(coded), *REFERENCE, "--system", system, "--force"]) == 0
        assert main(["decode", str(coded), str(out), *REFERENCE, "--system", system, "--force"]) == 0
        sound, came_rate = soundfile.read(out, always_2d=True)
        assert (came_rate, sound.shape) == (rate, (rate, channels))
        assert ("azimuth" in Path(f"{out}.txt").read_text(encoding="utf-8")) is (channels == 2)
        assert np.std(soundfile.read(coded)[0][rate // 2 :]) > 1.5 * np.std(wave)
        assert np.std(sound[rate // 2 :, 0]) == pytest.approx(np.std(wave), rel=0.002)


def test_one_channel_of_two(transfer: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = transfer.with_name("right.flac")
    assert main(["decode", str(transfer), str(out), *REFERENCE, "--channels", "2", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["channels"] == ["right"]
    assert soundfile.info(out).channels == 1


def test_what_would_clip_is_turned_down(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source, out = tmp_path / "in.wav", tmp_path / "out.wav"
    soundfile.write(source, 0.9 * np.sin(2 * np.pi * 50 * np.arange(RATE) / RATE), RATE, subtype="PCM_24")
    options = ["--reference-level", "-6", "--level-error", "-3", "--json"]
    assert main(["decode", str(source), str(out), *options]) == 0
    said, told = capsys.readouterr()
    sound, _ = soundfile.read(out)
    assert 0.97 < np.abs(sound).max() < 1.0
    down = -6 - json.loads(said)["out_reference_level_dbfs"]
    # 3 dB up, at a frequency and a level that Type B leaves alone once it has settled.
    steady = 20 * np.log10(np.std(sound[RATE // 2 :]) * 2**0.5 / 0.9)
    assert steady == pytest.approx(3.0 - down, abs=0.2)
    assert f"turned down by {down:.2f} dB" in told


def test_the_errors_of_a_session(transfer: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    machine = Machine("Two", 2, 0.8, -0.5, -2.0, 1.0, replay_tilt=6.0, fast_percent=0.7)
    folder = session(tmp_path, machine)
    out = tmp_path / "decoded.flac"
    command = ["decode", str(transfer), str(out), *REFERENCE, "--session", str(folder)]
    assert main(command) == 2
    assert "read nothing of its machine as found; use --stage as-left\n" in capsys.readouterr().err
    command += ["--stage", "as-left"]
    assert main([*command, "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["session"], said["stage"], said["replayed_on"]) == (folder.name, "as-left", None)
    assert said["speed_error_percent"] == pytest.approx(-0.7)
    level, treble = exchange(machine, Machine("Right"), 10000.0)
    for errors in said["errors"]:
        assert errors["level_error_db"] == pytest.approx(level)
        assert errors["treble_error_db"][-1]["db"] == pytest.approx(treble)
    assert len(said["uncertainty"]) == 60
    assert main([*command, "--replayed-on", "itself", "--azimuth-delay", "4", "--force", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["errors"][0]["level_error_db"] == pytest.approx(0.3)
    assert (said["azimuth_delay_us"], said["speed_error_percent"]) == (4.0, 0.0)
    assert main([*command, "--replayed-on", str(session(tmp_path, Machine("Other", 3))), "--force"]) == 0
    assert "as left, replayed on" in capsys.readouterr().out


def wav(path: Path, sound: np.ndarray, rate: int = RATE) -> Path:
    soundfile.write(path, sound, rate, subtype="PCM_24")
    return path


SPOILED = {
    "dead": (MUSIC * [1.0, 0.0], "the right channel holds nothing: it is dead"),
    "inverted": (MUSIC[:, :1] * [1.0, -1.0], "the channels have opposite polarity"),
    "clipped": (np.clip(MUSIC * 8, -1, 1), "channel is clipped in"),
}


@pytest.mark.parametrize("name", list(SPOILED))
def test_a_spoiled_capture_is_decoded_and_said(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sound, said = SPOILED[name]
    out = tmp_path / "out.wav"
    assert main(["decode", str(wav(tmp_path / "in.wav", sound)), str(out), *REFERENCE, "--level-error", "3"]) == 1
    err = capsys.readouterr().err
    assert said in err
    assert f"warning: {err.partition('warning: ')[2]}".strip() in out.with_name("out.wav.txt").read_text()
    assert out.exists()


@pytest.mark.parametrize(
    ("sound", "rate", "said"),
    [
        (np.zeros((RATE, 2)), RATE, "is silent; look at the leads"),
        (MUSIC[::6], 8000, "a sample rate of 8000 Hz holds too little treble"),
        (np.column_stack([MUSIC, MUSIC]), RATE, "has 4 channels; choose two with --channels 1,2"),
        (None, RATE, "does not exist"),
    ],
)
def test_a_capture_that_can_not_be_decoded(
    sound: np.ndarray | None, rate: int, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = tmp_path / "in.wav"
    if sound is not None:
        wav(source, sound, rate)
    before = sorted(tmp_path.iterdir())
    assert main(["decode", str(source), str(tmp_path / "out.flac"), *REFERENCE]) == 2
    out, err = capsys.readouterr()
    assert (out, len(err.splitlines())) == ("", 1)
    assert said in err
    assert sorted(tmp_path.iterdir()) == before


def test_a_sample_that_is_no_number_leaves_nothing_half_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sound = np.tile(MUSIC, (4, 1))
    sound[-100] = np.nan
    soundfile.write(tmp_path / "in.wav", sound, RATE, subtype="FLOAT")
    assert main(["decode", str(tmp_path / "in.wav"), str(tmp_path / "out.wav"), *REFERENCE]) == 2
    assert "NaN (not a number) at 11.998 s" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["in.wav"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ([], "give --reference-level DBFS"),
        (["--reference-level", "nan"], "lies from −60 to 0 dBFS"),
        (["--reference-level", "3"], "lies from −60 to 0 dBFS"),
        ([*REFERENCE, "--treble-error", "10000=-3"], '"10000=-3" is not HZ:DB, such as 10000:-3'),
        ([*REFERENCE, "--treble-error", "10000:-3,10000:-4"], "given twice"),
        ([*REFERENCE, "--treble-error", ""], '"" is not HZ:DB'),
        ([*REFERENCE, "--level-error", "99"], "give one from −40 to 40 dB"),
        ([*REFERENCE, "--uncertainty", "-1"], "give one from 0 to 20 dB"),
        ([*REFERENCE, "--azimuth-delay", "1e9"], "is no head's"),
        ([*REFERENCE, "--speed-error", "-50"], "a speed error of -50 %"),
        ([*REFERENCE, "--session", "nowhere"], "nowhere: no such session"),
        ([*REFERENCE, "--session", "nowhere", "--level-error", "1"], "--session has its own errors"),
        ([*REFERENCE, "--stage", "as-left"], "--stage goes with --session"),
        ([*REFERENCE, "--replayed-on", "itself"], "--replayed-on goes with --session"),
        ([*REFERENCE, "--channels", "3"], "has no channel 3"),
        ([*REFERENCE, "--system", "type-x"], "invalid choice"),
        ([*REFERENCE, "--channels", "1", "--azimuth-delay", "5"], "this capture has one; leave it out"),
        ([*REFERENCE, "--channels", "1", "--azimuth-delay", "programme"], "this capture has one; leave it out"),
        ([*REFERENCE, "--azimuth-delay", "music"], "give a delay in µs, or the word programme"),
    ],
)
def test_bad_usage_is_one_sentence(
    options: list[str], said: str, music: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--workspace", str(ROOT), "decode", str(music), str(tmp_path / "out.wav"), *options]) == 2
    out, err = capsys.readouterr()
    assert (out, len(err.splitlines())) == ("", 1)
    assert said in err
    assert [p.name for p in tmp_path.iterdir()] == ["music.wav"]


def test_where_it_may_not_write(music: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = music.read_bytes()
    (tmp_path / "link.wav").symlink_to(music)
    (tmp_path / "there.wav").write_bytes(b"mine")
    (tmp_path / "beside.wav.txt").write_text("mine")
    (tmp_path / "folder.wav").mkdir()
    for name, said in (
        ("music.wav", "is the capture itself"),
        ("link.wav", "is the capture itself"),
        ("there.wav", "is there already"),
        ("beside.wav", "beside.wav.txt is there already"),
        ("folder.wav", "is a folder"),
        ("out.ogg", "write to a file that ends in"),
        ("no/out.wav", "can't be written: No such file or directory"),
    ):
        force = ["--force"] if "itself" in said else []
        assert main(["decode", str(music), str(tmp_path / name), *REFERENCE, *force]) == 2
        err = capsys.readouterr().err
        assert said in err
        assert len(err.splitlines()) == 1
    assert music.read_bytes() == before
    assert (tmp_path / "there.wav").read_bytes() == b"mine"
    assert len(list(tmp_path.iterdir())) == 5


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="needs a folder that may not be written to")
def test_a_folder_that_may_not_be_written_to(music: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    assert main(["decode", str(music), str(locked / "out.wav"), *REFERENCE]) == 2
    assert "can't be written: Permission denied" in capsys.readouterr().err
