"""Snapshots as text: everything that the screen shows, each change once, without control characters."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.narration import Narrator
from bench.procedure.state.snapshot import Prompt, Snapshot
from tests.tui import samples
from tests.tui.test_hostile import nasty_faces


def readings_text(*snapshots: Snapshot, trainee: bool = False) -> list[str]:
    said: list[str] = []
    narrator = Narrator(said.append, trainee=trainee)
    for snapshot in snapshots:
        narrator.narrate(snapshot)
    return said


def test_a_step_says_machine_place_cautions_what_to_do_and_what_good_is() -> None:
    lines = readings_text(samples.adjusting())
    assert lines[0] == (
        "Line up a cassette deck: Lanternhill front-room deck, Lanternhill everyday ferric, Lanternhill cassette "
        "reference; 4.76 cm/s (1⅞ ips), 120 µs + 3180 µs, 0 dB is 250 nWb/m (DIN)"
    )
    assert lines[2] == "step 9 of 24: Set the replay level (as left)"
    assert lines[3].startswith("  caution (loud-tones): Loudspeakers down")
    assert lines[4].startswith("  do: Play the level section")
    assert lines[5].startswith("  good: ")
    left = "left replay level: −12.90 ± 0.04 dBFS, target −12 ± 0.5: out; rising; raise by 0.9 dB"
    assert f"  {left}" in lines
    assert "  trimmers: replay level left at −24°, replay level right at +12°" in lines
    assert lines[-1] == "> Keep both channels and go on"


def test_nothing_is_said_twice() -> None:
    assert readings_text(samples.listening(8)) == readings_text(samples.listening(8), samples.listening(8))


def test_why_is_said_at_once_to_a_trainee() -> None:
    assert not any(line.startswith("  why:") for line in readings_text(samples.adjusting()))
    assert any(line.startswith("  why:") for line in readings_text(samples.adjusting(), trainee=True))


@pytest.mark.parametrize(
    ("snapshot", "words"),
    [
        (samples.azimuth(), "turn 14° anticlockwise; phase +63° at 10 kHz"),
        (samples.biased(), "10 kHz: degrees 60° reads −24.04 dBFS, peak −22.00 at 20°, come to −24.00"),
        (samples.biased(), "heads are 183 ms apart"),
        (samples.biased(passed=False), "no reading, because the peak is not passed yet"),
        (samples.fluttering(), "capstan: 5.41 Hz, 0.062 % peak, 55 % of it all"),
        (samples.left_response(), "12.5 kHz, −20 dB: left response"),
        (samples.left_response(), "left as found −4.00 off"),
        (samples.left_response(), "! to be checked again: replay level, tracking"),
        (samples.ranked(), "by treble, dB: blank B 1st, +0.32 ± 0.01; blank A 2nd, −1.20 ± 0.01; blank C not read"),
        (samples.cleaning(754.0), "timer: 13 min left"),
        (samples.cleaning(), "  1. done: Replay and record heads"),
        (samples.cleaning(), "  3. to do: Capstan"),
        (samples.question(), "  2. It rises, because dirt"),
        (samples.question(answered=True), "No trimmer gives that back."),
        (samples.asking("number"), "> Take-up torque (in g·cm)"),
        (samples.in_trouble("clipping"), "! the input clips"),
        (samples.in_trouble("silence"), "! silence"),
        (samples.in_trouble("lost"), "! the device is lost"),
        (samples.in_trouble("hum"), "! 50 Hz mains hum at −31 dBFS, 14 dB under all that comes in"),
        (samples.in_trouble("one side"), "! sound on the right channel only"),
    ],
)
def test_what_the_screen_shows_is_said(snapshot: Snapshot, words: str) -> None:
    assert words.replace("left response", "left") in "\n".join(readings_text(snapshot))


def test_a_tick_is_said() -> None:
    before = samples.cleaning()
    after = replace(before, checks=tuple(replace(c, ticked=True) for c in before.checks))
    assert "  3. done: Capstan" in readings_text(before, after)[len(readings_text(before)) :]


@pytest.mark.parametrize("face", nasty_faces())
def test_hostile_text_acts_on_nothing(face: str) -> None:
    lines = readings_text(nasty_faces()[face], trainee=True)
    assert len(lines) > 1
    for line in lines:
        assert line.replace("\N{NO-BREAK SPACE}", "").isprintable()
        assert "\u202e" not in line


def test_seconds_that_pass_are_said_once() -> None:
    def sending(left_s: int) -> Snapshot:
        return samples.listening(0, prompt=Prompt("wait", "Tones are being sent and recorded", left_s=left_s))

    lines = readings_text(sending(38), sending(37), sending(36))
    assert [line for line in lines if "Tones are being" in line] == ["> Tones are being sent and recorded, 38 s"]
