"""`tapebench listen`: what it writes, prints and refuses."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import welch

from bench.cli import main

ROOT = Path(__file__).resolve().parents[2]
WORKSPACE = ["--workspace", str(ROOT)]
RATE = 48000


@pytest.fixture
def music(tmp_path: Path) -> Path:
    path = tmp_path / "music.wav"
    soundfile.write(path, 0.1 * np.random.default_rng(4).standard_normal((RATE, 2)), RATE)
    return path


def change_db(before: np.ndarray, after: np.ndarray, hz: float) -> float:
    """Change of the spectrum in a third of an octave, by Welch's method."""
    bins, sent = welch(before, RATE, nperseg=8192)
    _, received = welch(after, RATE, nperseg=8192)
    near = (bins > hz / 1.122) & (bins < hz * 1.122)
    return 10 * float(np.log10(received[near].sum() / sent[near].sum()))


def test_a_dirty_head_by_its_spectrum_before_and_after(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "dirty.flac"
    options = ["--fault", "dirty-head", "--noise-reduction", "both", "--json"]
    assert main([*WORKSPACE, "listen", str(out), *options]) == 0
    said = json.loads(capsys.readouterr().out)
    assert [p["says"] for p in said["parts"]] == ["as it was sent", "without noise reduction", "with Type B"]
    samples, rate = soundfile.read(out)
    assert rate == said["sample_rate"] == RATE
    assert len(samples) == round(said["duration_s"] * RATE)
    sent, without, with_b = (samples[round(p["start_s"] * RATE) :][: round(p["seconds"] * RATE)] for p in said["parts"])
    # Wallace 1951: 54.575·d/λ, less the 0.6 dB (mean of the channels) that the matching of levels gives back.
    # 1.2 µm left and 0.8 µm right at 47.625 mm/s; at 8 kHz 11.0 and 7.3 dB.
    for channel, um in ((0, 1.2), (1, 0.8)):
        for hz in (2000.0, 4000.0, 8000.0):
            loss = 54.575 * um * hz / 47.625e3
            assert change_db(sent[:, channel], without[:, channel], hz) == pytest.approx(0.6 - loss, abs=0.7), hz
    for hz in (250.0, 500.0):
        assert abs(change_db(sent[:, 0], without[:, 0], hz)) < 0.5
    # Common practice, no source: decoding makes dull sound duller.
    for hz in (4000.0, 8000.0):
        assert change_db(without[:, 0], with_b[:, 0], hz) < -3
    told = said["parts"][1]["change_db"]["8000"]
    measured = np.mean([change_db(sent[:, c], without[:, c], 8000.0) for c in (0, 1)])
    assert told == pytest.approx(measured, abs=1.0)


def test_a_file_of_any_rate_with_typed_errors(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source, out = tmp_path / "in.wav", tmp_path / "out.wav"
    noise = 0.1 * np.random.default_rng(4).standard_normal(3 * 44100)
    soundfile.write(source, noise, 44100)
    assert main(["listen", str(source), str(out), "--level-error", "-3", "--treble-error", "8000:-6"]) == 0
    samples, rate = soundfile.read(out)
    assert (rate, samples.shape) == (RATE, (3 * RATE, 2))
    text = capsys.readouterr().out
    assert text.startswith("   0.000 s  3.000 s long: without noise reduction: ")
    bins, power = welch(samples[:, 0], RATE, nperseg=4096)
    level = {hz: 10 * np.log10(power[(bins > hz / 1.06) & (bins < hz * 1.06)].mean()) for hz in (400.0, 8000.0)}
    assert level[8000.0] - level[400.0] == pytest.approx(-6.0, abs=0.5)
    # Levels are matched, so 3 dB too low does not sound softer.
    assert level[400.0] == pytest.approx(10 * np.log10(0.1**2 * 2 / 44100), abs=0.8)


def test_a_circuit_that_is_off_is_heard_with_noise_reduction_only(tmp_path: Path) -> None:
    t = np.arange(3 * RATE) / RATE
    loud, soft = np.sin(2 * np.pi * 400 * t) * (t < 1), 0.01 * np.sin(2 * np.pi * 5000 * t) * (t >= 1)
    source, out = tmp_path / "in.wav", tmp_path / "out.wav"
    soundfile.write(source, 0.5 * (loud + soft), RATE, subtype="PCM_24")
    received = {}
    for fault in ("weak-encoder", "weak-decoder"):
        options = ["--fault", fault, "--noise-reduction", "both", "--force"]
        assert main([*WORKSPACE, "listen", str(source), str(out), *options]) == 0
        whole = soundfile.read(out)[0][:, 0]
        parts = [whole[round((4 * n + 1.6) * RATE) :][:RATE] for n in range(3)]
        # With the sidebands of flutter.
        powers = [(np.abs(np.fft.rfft(p * np.hanning(RATE))[4940:5060]) ** 2).sum() for p in parts]
        received[fault] = [10 * np.log10(power / powers[0]) for power in powers[1:]]
    # At -40 dB, 5 kHz: a side path 4 dB weaker gives 2.5 dB less of 10 dB, and the other circuit makes a little more
    # of that; too little is added, or too little taken off.
    assert received["weak-encoder"] == pytest.approx([0.0, -2.8], abs=0.6)
    assert received["weak-decoder"] == pytest.approx([0.0, 2.8], abs=0.6)


def test_a_two_head_machine_on_the_tape_that_it_is_switched_to(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = tmp_path / "in.wav"
    soundfile.write(source, 0.1 * np.random.default_rng(4).standard_normal((2 * RATE, 2)), RATE)
    for machine, tape in (("two-head-cassette", "ferric"), ("three-head-cassette-chrome", "chrome")):
        options = ["--fault", "azimuth-off", "--machine", machine, "--json", "--force"]
        assert main([*WORKSPACE, "listen", str(source), str(tmp_path / "out.wav"), *options]) == 0
        said = json.loads(capsys.readouterr().out)
        assert f"Lanternhill {tape}" in said["says"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ([], "choose what it goes through: --session, --fault, or --level-error and --treble-error; none was given"),
        (["--fault", "dirty-head", "--level-error", "1"], "not --fault and --level-error or --treble-error"),
        (["--fault", "rusty-head"], 'there is no fault sheet "rusty-head"'),
        (["--fault", "dirty-record-head", "--machine", "two-head-cassette"], "needs three heads"),
        (["--level-error", "1", "--machine", "two-head-cassette"], "--machine and --tape go with --fault"),
        (["--treble-error", "8000"], "is not HZ:DB"),
        (["--session", "nowhere"], "nowhere: no such session"),
        (["--level-error", "1", "--noise-reduction", "some"], "invalid choice"),
        (["--level-error", "1", "--channels", "3"], "has no channel 3"),
    ],
)
def test_bad_usage_is_one_sentence(
    options: list[str], said: str, music: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*WORKSPACE, "listen", str(music), str(tmp_path / "out.wav"), *options]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert len(err.splitlines()) == 1
    assert not (tmp_path / "out.wav").exists()


@pytest.mark.parametrize(
    ("samples", "said"),
    [(np.zeros((RATE, 2)), "is silent"), (np.ones((100, 2)) * 0.1, "is 0.0 s long"), (None, "does not exist")],
)
def test_a_file_that_cannot_be_heard_is_refused(
    samples: np.ndarray | None, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "in.wav"
    if samples is not None:
        soundfile.write(path, samples, RATE)
    assert main(["listen", str(path), str(tmp_path / "out.wav"), "--level-error", "-1"]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert len(err.splitlines()) == 1


def test_nothing_is_written_over_or_in_a_strange_format(
    music: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["listen", str(music), str(music), "--level-error", "-1"]) == 2
    assert main(["listen", str(music), str(tmp_path / "out.mp3"), "--level-error", "-1"]) == 2
    first, second = capsys.readouterr().err.splitlines()
    assert "is there already" in first
    assert "write to a file that ends in" in second
