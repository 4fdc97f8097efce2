"""What `decode` offers for judging the result: a passage before and after, average spectra, time left."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from bench.cli import main
from bench.commands.transfers.before_after import spectrum_lines
from bench.commands.transfers.listening import _Switched
from bench.commands.transfers.progress import Progress
from bench.transfer.spectrum import AverageSpectrum
from tests.measure.captures import tone

RATE = 48000
REFERENCE = ["--reference-level", "-12"]


@pytest.fixture
def transfer(tmp_path: Path) -> Path:
    """Soft treble, which a decoder turns down by nearly 10 dB, beside loud bass; 24 seconds."""
    sound = tone(300.0, -12.0, 24.0, RATE) + tone(5000.0, -52.0, 24.0, RATE)
    path = tmp_path / "transfer.flac"
    soundfile.write(path, np.stack((sound, sound), axis=1), RATE, subtype="PCM_24")
    return path


def test_a_passage_is_written_before_and_after(transfer: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = transfer.with_name("out.flac")
    assert main(["decode", str(transfer), str(out), *REFERENCE, "--speed-error", "2", "--before-after", "5"]) == 0
    assert f"the same, decoded: {transfer.with_name('out.after.flac')}" in capsys.readouterr().out
    before, after = (soundfile.read(transfer.with_name(f"out.{when}.flac"))[0] for when in ("before", "after"))
    whole, made = soundfile.read(transfer)[0], soundfile.read(out)[0]
    assert np.abs(before - whole[5 * RATE : 15 * RATE]).max() < 1e-6
    start = round(5 * 1.02 * RATE)  # the same passage is later, because the result plays slower
    assert np.abs(after - made[start : start + 10 * RATE]).max() < 1e-6


def test_both_spectra_are_listed_and_drawn(transfer: Path, capsys: pytest.CaptureFixture[str]) -> None:
    command = ["decode", str(transfer), str(transfer.with_name("out.wav")), *REFERENCE]
    assert main([*command, "--json"]) == 0
    said = {row["frequency_hz"]: row for row in json.loads(capsys.readouterr().out)["spectrum"]}
    bass, treble = said[315.0], said[5000.0]
    assert (bass["before_dbfs"], bass["after_dbfs"]) == (pytest.approx(-12.0, abs=0.1), pytest.approx(-12.0, abs=1.0))
    assert treble["before_dbfs"] == pytest.approx(-52.0, abs=0.1)
    # The data sheet of Type B gives 10 dB at 5 kHz for soft tones; here at -40 dB before decoding.
    assert 6.0 < treble["before_dbfs"] - treble["after_dbfs"] < 11.0
    assert main([*command, "--force"]) == 0
    told = capsys.readouterr().out
    (line,) = [row for row in told.splitlines() if row.lstrip().startswith("5 kHz")]
    assert line.index("●") < line.index("○")


def test_a_start_outside_the_capture_leaves_nothing(transfer: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = transfer.with_name("out.wav")
    assert main(["decode", str(transfer), str(out), *REFERENCE, "--before-after", "99"]) == 2
    assert "name a second inside it" in capsys.readouterr().err
    assert [p.name for p in transfer.parent.iterdir()] == [transfer.name]


def test_the_average_spectrum_is_that_of_sines_whatever_the_blocks() -> None:
    sound = np.stack((tone(1000.0, -6.0, 2.0, RATE), tone(1000.0, -6.0, 2.0, RATE)), axis=1)
    bands = []
    for size in (100, 4801, len(sound)):
        spectrum = AverageSpectrum(RATE, 2)
        for at in range(0, len(sound), size):
            spectrum.feed(sound[at : at + size])
        bands.append(spectrum.bands())
    assert bands[0][1000.0] == pytest.approx(-6.0, abs=0.02)
    assert bands[0] == pytest.approx(bands[1])
    assert bands[0] == pytest.approx(bands[2])


def test_of_a_long_sound_every_few_segments_count_whatever_the_blocks() -> None:
    sounds = np.where(np.arange(2 * RATE) / RATE % 0.8 < 0.2, 1.0, 0.0)[:, None]
    sound = sounds * np.stack((tone(1000.0, -6.0, 2.0, RATE),) * 2, axis=1)
    for size in (100, 4801, len(sound)):
        spectrum = AverageSpectrum(RATE, 2, 0.8)
        for at in range(0, len(sound), size):
            spectrum.feed(sound[at : at + size])
        assert spectrum.bands()[1000.0] == pytest.approx(-6.0, abs=0.02)


def test_a_plot_of_nothing_is_nothing() -> None:
    assert spectrum_lines({}, {}) == []
    assert spectrum_lines({1000.0: -20.0}, {1000.0: -20.0})[-1].endswith("●")


def test_one_key_changes_between_them_at_the_same_place() -> None:
    sound = _Switched(np.full((10, 1), 0.1), np.arange(10.0)[:, None])
    assert np.all(sound.render(7, 5) == 0.1)
    sound.decoded = True
    assert sound.render(7, 5)[:, 1].tolist() == [7.0, 8.0, 9.0, 0.0, 1.0]


def test_time_left() -> None:
    progress = Progress("decoding", 3600.0, 0.0)
    assert progress.at(30.0, 0.5) == ""  # a short file is over before anything is shown
    assert progress.at(900.0, 20.0) == "decoding: 25 %, 1:00 left"
    assert progress.at(1800.0, 20.5) == ""
    assert progress.at(3600.0, 80.0) == "decoding: 100 %, 0:00 left"
