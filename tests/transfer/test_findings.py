"""Faults of a capture itself: each is found where it is present, and none elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.reading import Channel
from bench.practice.facts import Table
from bench.signals.demo_music import demo_music
from bench.tape.noise_reduction import decode, encode
from bench.transfer.findings import CaptureCheck, Finding
from tests.practice.deck import deck, run

RATE = 48000
SIDES: tuple[Channel, ...] = ("left", "right")
REFERENCE = 10 ** (-13.2 / 20)


def checked(sound: np.ndarray, names: tuple[Channel, ...] = SIDES, block: int = 65536) -> CaptureCheck:
    check = CaptureCheck(RATE, names, "type-b")
    for at in range(0, len(sound), block):
        check.feed(sound[at : at + block])
    return check


def found(sound: np.ndarray, names: tuple[Channel, ...] = SIDES, block: int = 65536) -> tuple[Finding, ...]:
    return checked(sound, names, block).findings()


MUSIC = 0.5 * demo_music(RATE)


def test_nothing_is_wrong_with_music() -> None:
    assert found(MUSIC) == ()
    assert found(MUSIC[:, :1], ("mono",)) == ()


def test_silence() -> None:
    for sound, silent in ((np.zeros((RATE, 2)), True), (MUSIC, False), (1e-7 * MUSIC, True)):
        check = CaptureCheck(RATE, SIDES, None)
        check.feed(sound)
        assert check.silent is silent


def test_a_dead_channel() -> None:
    hiss = 1e-4 * np.random.default_rng(1).standard_normal(len(MUSIC))
    (only,) = found(np.stack((MUSIC[:, 0], hiss), axis=1))
    assert (only.kind, only.channel) == ("dead channel", "right")
    assert only.value == pytest.approx(20 * np.log10(np.std(MUSIC[:, 0]) / 1e-4), abs=0.2)


def test_an_inverted_channel() -> None:
    (only,) = found(MUSIC[:, :1] * np.array([1.0, -0.9]) + 0.2 * MUSIC[::-1])
    assert only.kind == "inverted channel"
    assert only.value < -0.5
    wide = np.random.default_rng(2).standard_normal((RATE, 2))
    assert found(0.1 * wide) == ()


@pytest.mark.parametrize("block", [1, 1000, 65536])
def test_clipping_is_counted_whatever_the_blocks(block: int) -> None:
    sound = np.zeros((4000, 2))
    sound[100:105, 0] = 1.0
    sound[998:1003, 0] = -1.0
    sound[2000:2002, 0] = 1.0
    sound[3000:3003, 1] = 1.0
    assert [(f.channel, f.value) for f in found(sound, block=block) if f.kind == "clipped"] == [
        ("left", 2.0),
        ("right", 1.0),
    ]


TAPES: dict[str, dict[str, object]] = {
    "type I": {},
    "type II": {"iec_type": "II", "equalisation_us": (70.0, 3180.0)},
    "open reel": {
        "iec_type": "open reel",
        "speed_mm_s": 381.0,
        "equalisation_us": (35.0, 0.0),
        "track_spacing_mm": 3.5,
    },
}
PRACTICE: Table = {"hum_db": -90.0}


def test_floating_point_samples_above_full_scale_are_not_clipped() -> None:
    loud = 4.0 * MUSIC / np.abs(MUSIC).max()
    assert "clipped" not in {f.kind for f in found(loud)}
    assert "clipped" in {f.kind for f in found(np.clip(loud, -1.0, 1.0))}


@pytest.mark.parametrize("name", list(TAPES))
def test_a_capture_that_was_decoded_already(name: str) -> None:
    """Encoded music and a pause, recorded and replayed by the practice machine with its hiss."""
    machine = deck(PRACTICE, **TAPES[name])  # type: ignore[arg-type]
    machine.load("work")
    machine.switch("transport", "record")
    sent = np.concatenate((0.4 * MUSIC, np.zeros((4 * RATE, 2))))
    machine.process(encode(sent / REFERENCE, RATE, "type-b") * REFERENCE)
    machine.rewind()
    machine.switch("transport", "play")
    came = run(machine, 13.8)[RATE // 2 :]
    check = checked(came)
    assert [f.kind for f in check.findings()] == []
    assert check.heard_hiss
    decoded = decode(came / REFERENCE, RATE, "type-b") * REFERENCE
    (only,) = found(decoded)
    assert only.kind == "decoded already"
    assert 5.0 < only.value < 12.0


def test_no_pause_is_no_suspicion() -> None:
    """Fading music, steady pink noise and a digital pause are no hiss."""
    rng = np.random.default_rng(3)
    spectrum = np.fft.rfft(rng.standard_normal((10 * RATE, 2)), axis=0)
    spectrum[1:] /= np.sqrt(np.arange(1, len(spectrum)))[:, None]
    pink = np.fft.irfft(spectrum, axis=0)
    pink *= 0.1 / np.std(pink)
    fade = np.linspace(1.0, 1e-3, len(pink))[:, None]
    for sound in (pink, pink * fade, np.concatenate((pink, np.zeros_like(pink)))):
        check = checked(sound)
        assert check.findings() == ()
        assert not check.heard_hiss
    # Programme that both channels share is no hiss, however steady.
    quiet = np.concatenate((pink, 0.01 * pink[:, [0, 0]]))
    assert found(quiet) == ()
