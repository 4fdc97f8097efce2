"""Captures made by other tools: tones by sox in scrambled order among announcements by espeak-ng."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
import soundfile

from bench.measure.meters import Options
from tests.measure.captures import readings
from tests.measure.whole_array import find_tones, response

TONES = (
    (12500, -24.0, 2.0),
    (63, -22.0, 2.0),
    (10000, -20.5, 1.0),
    (1000, -20.0, 2.0),
    (40, -21.0, 2.0),
    (315, -19.0, 0.7),
)
SAYINGS = (
    "Reference tape. Twelve and a half kilohertz follows.",
    "The next tone is sixty three hertz. Aaaaaah. Mmmmmmmm.",
    "Ten kilohertz, minus twenty point five decibels.",
    "One kilohertz. Ooooooooo. Listen.",
    "Forty hertz, low.",
    "Three hundred and fifteen hertz, and that is all.",
)


def sox(*words: str | int | float | Path) -> None:
    subprocess.run(["sox", "-D", *map(str, words)], check=True, capture_output=True)


def say(text: str, path: Path, *, words_a_minute: int = 150, pitch: int = 50) -> None:
    subprocess.run(
        ["espeak-ng", "-v", "en", "-s", str(words_a_minute), "-p", str(pitch), "-w", str(path), text],
        check=True,
        capture_output=True,
    )


def announced(folder: Path, rate: int, bits: int) -> Path:
    """Each tone after its announcement, some without a gap between."""
    parts: list[Path] = []
    for n, ((hz, db, seconds), text) in enumerate(zip(TONES, SAYINGS, strict=True)):
        voice, spoken, tone = folder / f"v{n}.wav", folder / f"s{n}.wav", folder / f"t{n}.wav"
        say(text, voice, words_a_minute=110 + 20 * n, pitch=30 + 10 * n)
        sox(voice, "-r", rate, "-c", 2, "-b", bits, spoken, "gain", -6, "pad", 0, 0.2 * (n % 2))
        sox(
            "-n",
            "-r",
            rate,
            "-c",
            2,
            "-b",
            bits,
            tone,
            "synth",
            seconds,
            "sine",
            hz,
            "gain",
            db,
            "pad",
            0,
            0.3 * (n % 3),
        )
        parts += [spoken, tone]
    whole = folder / f"announced-{rate}.wav"
    sox(*parts, whole)
    return whole


@pytest.mark.parametrize(("rate", "bits"), [(44100, 16), (96000, 24)])
@pytest.mark.parametrize("speed", [1.0, 0.98])
def test_announced_tones_in_scrambled_order(rate: int, bits: int, speed: float, tmp_path: Path) -> None:
    path = announced(tmp_path, rate, bits)
    if speed != 1.0:
        slow = tmp_path / "slow.wav"
        sox(path, "-b", bits, slow, "speed", speed, "rate", rate)
        path = slow
    x, _ = soundfile.read(path, always_2d=True)
    found = find_tones(x, rate)
    assert [(round(t.frequency_hz / speed), round(t.dbfs, 2)) for t in found] == [(hz, db) for hz, db, _ in TONES]
    asked = tuple(float(hz) for hz, _, _ in TONES)
    measured = response(x, rate, Options(frequencies=asked, reference_frequency=1000.0))
    for channel in ("left", "right"):
        got = {r.frequency_hz: r.value for r in readings(measured, "response", channel=channel)}
        # The goal is 0.1 dB; sox's own figures are met to a hundredth.
        assert got == {float(hz): pytest.approx(db + 20.0, abs=0.01) for hz, db, _ in TONES}


def test_voices_are_no_tones(tmp_path: Path) -> None:
    for n, pitch in enumerate((5, 50, 95)):
        path = tmp_path / f"{n}.wav"
        say(" ".join(SAYINGS) + " Aaaah, eeee, nnnnn, hmmmm.", path, words_a_minute=60 + 50 * n, pitch=pitch)
        x, rate = soundfile.read(path, always_2d=True)
        assert find_tones(x, rate) == []


def test_fades_tremolo_and_noise_by_sox(tmp_path: Path) -> None:
    # A tone that fades in and out over a second each, under pink noise 50 dB down.
    tone, noise, both = (tmp_path / f"{n}.wav" for n in ("tone", "noise", "both"))
    sox("-n", "-r", 48000, "-b", 24, "-c", 2, tone, "synth", 6, "sine", 3150, "gain", -12, "fade", "t", 1, 6, 1)
    sox("-n", "-r", 48000, "-b", 24, "-c", 2, noise, "synth", 6, "pinknoise", "gain", -62)
    sox("-m", "-v", 1, tone, "-v", 1, noise, both)
    (found,) = find_tones(soundfile.read(both, always_2d=True)[0], 48000)
    assert found.dbfs == pytest.approx(-12.0, abs=0.005)
    assert 0.95 < found.start_s < 1.2
    assert 4.8 < found.end_s < 5.05


def test_sweeps_and_plucks_by_sox(tmp_path: Path) -> None:
    path = tmp_path / "x.wav"
    sox("-n", "-r", 48000, "-b", 24, "-c", 2, path, "synth", 20, "sine", "20/20000", "gain", -10)
    assert find_tones(soundfile.read(path, always_2d=True)[0], 48000) == []
    sox("-n", "-r", 48000, "-b", 24, "-c", 1, path, "synth", 1.5, "pluck", "G3", "gain", -6)
    assert find_tones(soundfile.read(path, always_2d=True)[0], 48000) == []
