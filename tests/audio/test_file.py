"""Captures in files of every format and rate; whatever is wrong with a file, one sentence says it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from numpy.typing import NDArray

from bench.audio.file import Capture, FilePort
from bench.audio.port import Block
from bench.problem import Problem
from bench.signals.tones import SteadyTone, Tone
from tests.cases import cases
from tests.rough_tape.grades import GRADES
from tests.rough_tape.interface import automatic_gain
from tests.rough_tape.scenes import Section, sequence

FORMATS = [  # format, subtype, largest error of a sample in steps of full scale
    ("WAV", "PCM_16", 2.0**-15),
    ("WAV", "PCM_24", 2.0**-23),
    ("WAV", "PCM_32", 2.0**-31),
    ("WAV", "FLOAT", 2.0**-24),
    ("WAV", "DOUBLE", 0.0),
    ("WAVEX", "PCM_24", 2.0**-23),
    ("RF64", "PCM_24", 2.0**-23),
    ("W64", "PCM_24", 2.0**-23),
    ("FLAC", "PCM_16", 2.0**-15),
    ("FLAC", "PCM_24", 2.0**-23),
    ("AIFF", "PCM_16", 2.0**-15),
    ("AIFF", "PCM_24", 2.0**-23),
    ("CAF", "PCM_24", 2.0**-23),
    ("AU", "PCM_16", 2.0**-15),
]
ENDINGS = {"WAVEX": "wav", "RF64": "wav"}
hostile = cases(60, suppress_health_check=[HealthCheck.function_scoped_fixture])


def noise(frames: int, channels: int = 2) -> NDArray[np.float64]:
    return np.random.default_rng(4).uniform(-0.5, 0.5, (frames, channels))


def written(folder: Path, kind: str, subtype: str, samples: NDArray[np.float64], rate: int = 48000) -> Path:
    path = folder / f"capture.{ENDINGS.get(kind, kind.lower())}"
    soundfile.write(path, samples, rate, format=kind, subtype=subtype)
    return path


def read(capture: Capture, frames: int = 65536) -> NDArray[np.float64]:
    return np.concatenate([np.zeros((0, capture.channels)), *capture.blocks(frames)])


def said(path: Path | str, pick: tuple[int, ...] | None = None) -> str:
    """The one sentence with which a file is refused, at once or while it is read."""
    with pytest.raises(Problem) as caught:
        read(Capture(path, pick))
    assert "\n" not in caught.value.sentence
    return caught.value.sentence


class TestFormats:
    @pytest.mark.parametrize(("kind", "subtype", "error"), FORMATS)
    @pytest.mark.parametrize("channels", [1, 2])
    def test_samples_are_those_that_were_written(
        self, tmp_path: Path, kind: str, subtype: str, error: float, channels: int
    ) -> None:
        samples = noise(5000, channels)
        capture = Capture(written(tmp_path, kind, subtype, samples))
        assert (capture.sample_rate, capture.channels, capture.frames) == (48000, channels, 5000)
        assert capture.warnings == ()
        got = read(capture, 777)
        assert got.dtype == np.float64
        assert np.abs(got - samples).max() <= error

    @pytest.mark.parametrize("rate", [1, 400, 7999, 768_001, 2**31 - 1])
    def test_a_rate_of_a_damaged_header_is_refused(self, tmp_path: Path, rate: int) -> None:
        path = written(tmp_path, "WAV", "PCM_16", noise(2000, 1))
        header = bytearray(path.read_bytes())
        header[24:28] = rate.to_bytes(4, "little")  # RIFF WAVE: nSamplesPerSec
        path.write_bytes(header)
        with pytest.raises(Problem, match=f"has a sample rate of {rate} Hz by its header"):
            Capture(path)

    @pytest.mark.parametrize("rate", [8000, 11025, 22050, 32000, 44100, 48000, 88200, 96000, 176400, 192000])
    @pytest.mark.parametrize("kind", ["WAV", "FLAC", "AIFF"])
    def test_any_rate(self, tmp_path: Path, kind: str, rate: int) -> None:
        capture = Capture(written(tmp_path, kind, "PCM_16", noise(rate // 10), rate))
        assert capture.sample_rate == rate
        assert capture.duration_s == pytest.approx(0.1, abs=1e-4)
        assert len(read(capture)) == rate // 10

    @pytest.mark.parametrize(("kind", "subtype"), [("OGG", "VORBIS"), ("OGG", "OPUS"), ("MP3", "MPEG_LAYER_III")])
    def test_lossy_formats_are_read_with_a_warning(self, tmp_path: Path, kind: str, subtype: str) -> None:
        tone = SteadyTone(Tone(1000.0, -10.0, 2.0), 48000).render(0, 96000)
        capture = Capture(written(tmp_path, kind, subtype, tone))
        got = read(capture)
        assert len(got) == capture.frames == 96000
        assert len(capture.warnings) == 1
        assert "is stored with loss" in capture.warnings[0]
        rms = np.sqrt(2.0 * np.mean(got[24000:72000] ** 2, axis=0))  # AES17
        moved = np.abs(20.0 * np.log10(rms) + 10.0)
        assert moved.max() < 1.0  # the tone that was written, shifted by what the warning reports

    @pytest.mark.parametrize("kind", ["wav", "flac"])
    def test_what_sox_writes_to_a_pipe_has_no_length_and_is_whole_all_the_same(self, tmp_path: Path, kind: str) -> None:
        path = tmp_path / f"piped.{kind}"
        with path.open("wb") as out:
            command = f"sox -n -r 44100 -b 24 -c 2 -t {kind} - synth 1 sine 1000 gain -10"
            subprocess.run(command.split(), stdout=out, stderr=subprocess.DEVNULL, check=True)
        capture = Capture(path)
        assert (capture.frames, len(read(capture)), capture.warnings) == (44100, 44100, ())

    @pytest.mark.parametrize("unknown", [0xFFFFFFFF, 0x7FFFFFFF, 0x7FFFF000, 0x80000000])
    def test_a_header_of_unknown_length_promises_nothing(self, tmp_path: Path, unknown: int) -> None:
        path = written(tmp_path, "WAV", "PCM_16", noise(1000))
        content = bytearray(path.read_bytes())
        at = content.index(b"data") + 4
        content[4:8] = content[at : at + 4] = unknown.to_bytes(4, "little")
        path.write_bytes(content)
        capture = Capture(path)
        assert (capture.frames, capture.warnings) == (1000, ())

    @given(st.integers(1, 3000), st.integers(1, 4000))
    @hostile
    def test_blocks_of_any_size_make_the_same_whole(self, tmp_path: Path, frames: int, block: int) -> None:
        samples = noise(frames)
        capture = Capture(written(tmp_path, "WAV", "DOUBLE", samples))
        blocks = list(capture.blocks(block))
        assert all(len(b) == block for b in blocks[:-1])
        np.testing.assert_array_equal(np.concatenate(blocks), samples)


class TestChannels:
    def test_more_than_two_need_a_choice(self, tmp_path: Path) -> None:
        samples = noise(100, 6)
        path = written(tmp_path, "WAV", "DOUBLE", samples)
        assert said(path).endswith("has 6 channels; choose two with --channels 1,2, or give a file with two")
        np.testing.assert_array_equal(read(Capture(path, (6, 2))), samples[:, [5, 1]])
        np.testing.assert_array_equal(read(Capture(path, (3,))), samples[:, [2]])

    @pytest.mark.parametrize(
        ("pick", "sentence"),
        [
            ((7,), "has no channel 7; it has 6, counted from 1"),
            ((0, 1), "has no channel 0"),
            ((), "choose one channel or two, not 0"),
            ((1, 2, 3), "not 3"),
        ],
    )
    def test_an_impossible_choice(self, tmp_path: Path, pick: tuple[int, ...], sentence: str) -> None:
        assert sentence in said(written(tmp_path, "WAV", "PCM_16", noise(100, 6)), pick)

    def test_a_great_many_channels_do_not_fill_the_memory(self, tmp_path: Path) -> None:
        path = written(tmp_path, "WAV", "PCM_16", noise(9000, 1000))
        assert [len(b) for b in Capture(path, (1, 1000)).blocks()] == [4194, 4194, 612]


class TestRefused:
    def test_what_is_no_file_to_read(self, tmp_path: Path) -> None:
        assert said(tmp_path / "nothing.wav").endswith("does not exist; look at the spelling and the folder")
        assert said(tmp_path).endswith("is a folder; name an audio file in it")
        assert said(tmp_path / "nothing.wav" / "x.wav").endswith("does not exist; look at the spelling and the folder")
        os.mkfifo(tmp_path / "pipe")
        assert "not a file" in said(tmp_path / "pipe")
        assert "can't be opened" in said("a" * 5000)
        assert "does not exist" in said("nul\0byte.wav")

    def test_what_holds_nothing(self, tmp_path: Path) -> None:
        (tmp_path / "empty.wav").touch()
        assert said(tmp_path / "empty.wav").endswith("is empty; record it again, or give another file")
        for kind in ("WAV", "AIFF", "CAF"):
            assert "holds no samples" in said(written(tmp_path, kind, "PCM_16", noise(0)))

    @pytest.mark.parametrize("ending", ["wav", "flac", "mp3", "ogg", "toml", "aiff"])
    def test_what_is_not_audio(self, tmp_path: Path, ending: str) -> None:
        path = tmp_path / f"text.{ending}"
        path.write_text("Replay level of the deck with the brown front, as found.\n" * 50)
        assert "is not audio that can be read" in said(path)

    def test_headerless(self, tmp_path: Path) -> None:
        path = tmp_path / "capture.raw"
        path.write_bytes(bytes(4000))
        assert "sample rate is unknown; convert it to WAV or FLAC" in said(path)

    @pytest.mark.parametrize("subtype", ["FLOAT", "DOUBLE"])
    @pytest.mark.parametrize(
        ("bad", "word"),
        [(np.nan, "NaN (not a number)"), (np.inf, "infinite"), (-np.inf, "infinite"), (1e9, "too large to be sound")],
    )
    def test_samples_that_are_no_numbers_with_the_time_of_the_first(
        self, tmp_path: Path, subtype: str, bad: float, word: str
    ) -> None:
        samples = noise(200000)
        samples[156000, 1] = samples[160000, 0] = bad
        path = written(tmp_path, "WAV", subtype, samples)
        assert f"holds a sample that is {word} at 3.250 s" in said(path)
        with pytest.raises(Problem, match=r"at 3\.250 s"):
            FilePort(path).open()

    def test_one_channel_that_is_not_chosen_may_hold_anything(self, tmp_path: Path) -> None:
        samples = noise(100)
        samples[50, 1] = np.nan
        assert len(read(Capture(written(tmp_path, "WAV", "FLOAT", samples), (1,)))) == 100

    def test_names_can_not_write_on_the_terminal(self, tmp_path: Path) -> None:
        sentence = said(tmp_path / "\x1b[2J\x9b31m.wav")
        assert "\x1b" not in sentence
        assert "\x9b" not in sentence

    def test_names_of_any_bytes(self, tmp_path: Path) -> None:
        path = written(tmp_path, "WAV", "PCM_16", noise(10))
        odd = path.rename(tmp_path / os.fsdecode(b"caf\xe9 50%n \xff.wav"))
        assert Capture(odd).frames == 10


class TestCutShort:
    @pytest.mark.parametrize("kind", ["WAV", "AIFF", "AU", "W64", "FLAC", "RF64"])
    @pytest.mark.parametrize("part", [0.3, 0.7, 0.999])
    def test_what_is_left_is_used_and_a_warning_says_so(self, tmp_path: Path, kind: str, part: float) -> None:
        samples = noise(40000)
        path = written(tmp_path, kind, "PCM_16", samples)
        content = path.read_bytes()
        path.write_bytes(content[: int(len(content) * part)])
        capture = Capture(path)
        assert len(capture.warnings) == 1
        assert f"is cut short: its header promises more than it holds; the {capture.frames} frames" in str(
            capture.warnings
        )
        got = read(capture)
        assert len(got) == capture.frames
        assert (part - 0.15) * 40000 < len(got) < 40000
        assert np.abs(got - samples[: len(got)]).max() <= 2.0**-15

    @pytest.mark.parametrize(("kind", "subtype"), [("OGG", "VORBIS"), ("MP3", "MPEG_LAYER_III")])
    def test_lossy_formats_too(self, tmp_path: Path, kind: str, subtype: str) -> None:
        path = written(tmp_path, kind, subtype, noise(96000))
        content = path.read_bytes()
        path.write_bytes(content[: len(content) * 2 // 3])
        capture = Capture(path)
        assert 0 < len(read(capture)) < 96000
        assert sum("is cut short" in w for w in capture.warnings) == 1

    @pytest.mark.parametrize("kind", ["WAV", "AIFF", "FLAC", "AU", "W64", "OGG", "MP3", "CAF"])
    def test_cut_anywhere_it_is_read_or_refused(self, tmp_path: Path, kind: str) -> None:
        subtype = {"OGG": "VORBIS", "MP3": "MPEG_LAYER_III"}.get(kind, "PCM_16")
        path = written(tmp_path, kind, subtype, noise(9000), 44100)
        content = path.read_bytes()
        for length in [*range(0, 120, 3), *range(120, len(content), len(content) // 25)]:
            path.write_bytes(content[:length])
            read_or_refused(path)


class TestHostile:
    @given(st.binary(min_size=1, max_size=2000), st.sampled_from(["wav", "flac", "aiff", "ogg", "mp3", "raw", "x"]))
    @hostile
    def test_any_bytes(self, tmp_path: Path, content: bytes, ending: str) -> None:
        path = tmp_path / f"any.{ending}"
        path.write_bytes(content)
        read_or_refused(path)

    @given(data=st.data(), kind=st.sampled_from(["WAV", "FLAC", "AIFF", "OGG", "MP3", "CAF", "W64", "RF64", "AU"]))
    @hostile
    def test_a_file_with_damaged_bytes(self, tmp_path: Path, data: st.DataObject, kind: str) -> None:
        subtype = {"OGG": "VORBIS", "MP3": "MPEG_LAYER_III"}.get(kind, "PCM_16")
        path = written(tmp_path, kind, subtype, noise(2000), 44100)
        content = bytearray(path.read_bytes())
        for _ in range(data.draw(st.integers(1, 8))):
            content[data.draw(st.integers(0, min(200, len(content) - 1)))] = data.draw(st.integers(0, 255))
        path.write_bytes(content)
        read_or_refused(path)

    def test_nothing_is_said_on_stderr(self, tmp_path: Path) -> None:
        """libmpg123, behind libsndfile, would write warnings for this one."""
        path = written(tmp_path, "MP3", "MPEG_LAYER_III", noise(48000))
        content = path.read_bytes()
        path.write_bytes(content[:3000] + bytes(500) + content[3000:9000])
        script = "import sys; from bench.audio.file import Capture; print(sum(map(len, Capture(sys.argv[1]).blocks())))"
        done = subprocess.run([sys.executable, "-c", script, path], capture_output=True, text=True, check=True)
        assert int(done.stdout) > 0
        assert done.stderr == ""


def read_or_refused(path: Path) -> None:
    """Samples of the stated length, or one sentence; anything else is a fault of the program."""
    got = sentence = None
    try:
        capture = Capture(path)
        got = read(capture)
    except Problem as problem:
        sentence = problem.sentence
    if sentence is not None:
        assert "\n" not in sentence
        assert path.name in sentence
    else:
        assert got is not None
        assert 0 < len(got) == capture.frames
        assert np.isfinite(got).all()


class TestPort:
    def test_the_file_comes_block_by_block_and_then_ends(self, tmp_path: Path) -> None:
        samples = noise(10000)
        port = FilePort(written(tmp_path, "WAV", "DOUBLE", samples, 44100), block=4800)
        states = [port.status.state]
        assert port.read(0.0) is None
        port.open()
        blocks: list[Block] = []
        while (block := port.read(0.0)) is not None:
            states.append(port.status.state)
            blocks.append(block)
        assert states == ["closed", "running", "running", "running"]
        assert [b.start for b in blocks] == [0, 4800, 9600]
        assert all(b.lost == 0 for b in blocks)
        np.testing.assert_array_equal(np.concatenate([b.samples for b in blocks]), samples)
        status = port.status
        assert (status.state, status.kind, status.sample_rate, status.channels) == ("ended", "file", 44100, 2)
        assert port.reopen() is False
        port.close()
        port.close()
        assert port.status.state == "closed"

    def test_it_can_be_listened_to_but_not_adjusted(self, tmp_path: Path) -> None:
        port = FilePort(written(tmp_path, "WAV", "PCM_16", noise(10000)))
        port.open()
        port.read(0.0)
        assert port.send(None) == 4800
        with pytest.raises(Problem, match="a file cannot be adjusted"):
            port.send(SteadyTone(Tone(1000.0, -10.0), 48000))

    def test_opened_again_it_starts_again(self, tmp_path: Path) -> None:
        port = FilePort(written(tmp_path, "WAV", "PCM_16", noise(10000)))
        for _ in range(2):
            port.open()
            block = port.read(0.0)
            assert block is not None
            assert block.start == 0

    def test_a_file_that_is_cut_short_says_so(self, tmp_path: Path) -> None:
        path = written(tmp_path, "WAV", "PCM_16", noise(10000))
        path.write_bytes(path.read_bytes()[:20000])
        assert "is cut short" in FilePort(path).status.detail


def test_a_capture_with_an_automatic_gain_in_its_way_is_refused(tmp_path: Path) -> None:
    tones = Section(1000.0, 0.0, 2.0), Section(3150.0, -15.0, 2.0)
    capture = sequence(np.random.default_rng(4), GRADES[1], tones, rate=44100.0, announced=False)
    for name, samples in (("as-it-was.wav", capture.samples), ("turned.wav", automatic_gain(capture.samples, 44100.0))):
        soundfile.write(tmp_path / name, samples, 44100, subtype="PCM_16")
    FilePort(tmp_path / "as-it-was.wav").open()
    with pytest.raises(Problem, match=r"turned\.wav: an automatic gain is in the way"):
        FilePort(tmp_path / "turned.wav").open()
