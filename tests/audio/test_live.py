"""The live port through PortAudio, a private sound server and, as the machine, a process of its own."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.live_audio import Deck, PrivateSound, missing

pytestmark = [pytest.mark.live, pytest.mark.skipif(missing() is not None, reason=str(missing()))]

SCENARIOS = Path(__file__).with_name("live_scenarios.py")


@pytest.fixture(scope="module")
def loop() -> Iterator[PrivateSound]:
    with PrivateSound("loop") as sound:
        yield sound


@pytest.fixture(scope="module")
def nothing() -> Iterator[PrivateSound]:
    with PrivateSound("none") as sound:
        yield sound


def work(sound: PrivateSound, *args: str) -> dict[str, Any]:
    done = sound.python(SCENARIOS, *args)
    assert done.returncode == 0, done.stderr
    return answer(done.stdout)


def answer(stdout: str) -> dict[str, Any]:
    out = json.loads(stdout.splitlines()[-1])
    assert isinstance(out, dict)
    return out


def undisturbed(sound: PrivateSound, *args: str) -> dict[str, Any]:
    """A run without lost sound. A busy computer loses some, which the port must count; an uncounted loss is a fault."""
    for _ in range(3):
        got = work(sound, *args)
        if not got["overflows"] + got["underflows"]:
            break
    return got


class TestLoop:
    def test_five_seconds_come_back_frame_by_frame_although_nobody_reads_for_three(self, loop: PrivateSound) -> None:
        got = undisturbed(loop, "loop", "5")
        assert (got["overflows"], got["underflows"], got["lost"], got["gaps"]) == (0, 0, 0, 0)
        assert got["frames"] == 5 * 48000 - 4800
        assert got["wrong_frames"] == 0
        assert got["backlog_s"] > 2.5
        assert got["closed"] == "closed"
        assert abs(got["begins"] - got["found_at"]) < 0.005 * 48000  # where it begins is known to some milliseconds

    def test_tones_are_cut_without_a_click_and_silence_is_silence(self, loop: PrivateSound) -> None:
        got = undisturbed(loop, "silences")
        assert got["step"] < 1.05  # no step between frames is larger than the largest of the tone itself
        assert got["last"] == 0.0

    def test_what_a_full_queue_refuses_is_counted_and_said_in_the_next_block(self, loop: PrivateSound) -> None:
        got = work(loop, "full_queue")
        assert got["backlog_s"] == pytest.approx(0.5)
        assert got["overflows"] > 10
        assert got["lost"] == got["jumps"]
        assert sum(got["lost"]) >= 960 * got["overflows"]

    def test_a_source_that_fails_is_said(self, loop: PrivateSound) -> None:
        got = work(loop, "broken_source")
        assert got["state"] == "running"
        assert "no more" in got["detail"]

    def test_a_fault_in_the_callback_is_said_and_not_printed(self, loop: PrivateSound) -> None:
        done = loop.python(SCENARIOS, "broken_callback")
        got = answer(done.stdout)
        assert got["seen_s"] < 1.0
        assert "division by zero" in got["detail"]
        assert "Traceback" not in done.stderr


class TestDeck:
    def test_levels_through_a_machine_in_a_process_of_its_own(self) -> None:
        with PrivateSound("deck") as sound, Deck(sound) as deck:
            straight = undisturbed(sound, "levels", "1000@-10", "10000@-20")["levels"]
            deck.set("gain_db", -6)
            deck.set("right_db", 1.5)
            deck.set("taps", 4)
            turned = undisturbed(sound, "levels", "1000@-10", "10000@-20")["levels"]
        assert straight["1000@-10"] == pytest.approx([-10.0, -10.0], abs=0.001)
        assert straight["10000@-20"] == pytest.approx([-20.0, -20.0], abs=0.001)
        for tone, hz, dbfs in (("1000@-10", 1000.0, -10.0), ("10000@-20", 10000.0, -20.0)):
            # A moving average over N samples passes |sin(N·π·f/fs) / (N·sin(π·f/fs))| (Dirichlet kernel, textbook).
            x = math.pi * hz / 48000
            left = dbfs - 6.0 + 20.0 * math.log10(abs(math.sin(4 * x) / (4 * math.sin(x))))
            assert turned[tone] == pytest.approx([left, left + 1.5], abs=0.001)

    def test_a_computer_that_was_held_up_broke_what_it_sent_and_not_what_it_heard(self) -> None:
        with PrivateSound("deck") as sound, Deck(sound) as deck:
            deck.set("skew", 12000)
            deck.play_tape([(1.0, -0.1, 30.0)])
            got = work(sound, "held_up")
        assert got["underflows"] >= 1
        assert (got["overflows"], got["jumps"], got["lost"]) == (0, 0, 0)
        assert got["steps"] == pytest.approx([1.0, 1.0], abs=0.01)  # every frame of the tape occurs exactly once


class TestLoss:
    def test_a_device_that_goes_away_is_seen_within_a_second_and_sound_goes_on_when_it_is_back(self) -> None:
        with PrivateSound("loop") as sound:
            process = subprocess.Popen(
                [sys.executable, SCENARIOS, "taken_away", str(sound.pid)],
                env=sound.env,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
            )
            assert process.stdout is not None
            assert process.stdout.readline().strip() == '"lost"'
            sound.kill()
            sound.restart()
            stdout, stderr = process.communicate("back\n", 60.0)
        assert process.returncode == 0, stderr
        got = answer(stdout)
        assert got["seen_s"] < 1.0
        assert "went away" in got["detail"]
        assert got["reopened_while_dead"] is False
        assert got["lost_s"] == got["start_gap_s"]
        assert got["lost_s"] >= got["gap_s"]
        assert got["later_lost"] == 0
        assert got["level"] == pytest.approx(-20.0, abs=0.001)  # the tone continues

    def test_a_device_that_hangs_is_seen_within_a_second_and_holds_nothing_up(self) -> None:
        with PrivateSound("loop") as sound:
            try:
                got = work(sound, "frozen", str(sound.pid))  # it also leaves in time when it is frozen again
            finally:
                sound.thaw()
        assert got["seen_s"] < 1.0
        assert got["reopened_while_frozen"] == [False, False]
        assert got["first_s"] < 3.0
        assert got["second_s"] < 0.1
        assert got["back_s"] is not None
        assert got["frames_after"] >= 24000
        assert got["lost_s"] > got["first_s"]
        assert got["close_s"] < 4.0

    def test_libraries_write_to_the_log_and_not_to_the_screen(self, tmp_path: Path) -> None:
        with PrivateSound("loop") as sound:
            done = sound.python(SCENARIOS, "off_screen", str(sound.pid), str(tmp_path / "sound.log"))
        assert done.stderr == "drawn\ndrawn again\n"
        assert "Expression" in answer(done.stdout)["log"]


class TestNothingThere:
    def test_no_library_is_one_sentence(self, nothing: PrivateSound) -> None:
        done = nothing.python(SCENARIOS, "no_library", "open")
        assert done.stderr == ""
        assert "PortAudio library is not installed" in answer(done.stdout)["problem"]

    def test_no_device_is_one_sentence(self, nothing: PrivateSound) -> None:
        done = nothing.python(SCENARIOS, "loop", "1")
        assert done.stderr == ""
        assert answer(done.stdout)["problem"].startswith("there is no sound device")

    def test_a_device_that_gives_no_sound_is_one_sentence(self) -> None:
        with PrivateSound("loop") as sound:
            sound.suspend()
            assert "gives no sound; look at the interface" in work(sound, "loop", "1")["problem"]

    def test_a_wrong_name_lists_what_there_is(self, loop: PrivateSound) -> None:
        said = work(loop, "wrong", "nonesuch\x1b[2J", "48000")["problem"]
        assert '"pulse"' in said
        assert "\x1b" not in said

    def test_a_rate_that_the_device_refuses_is_named(self, loop: PrivateSound) -> None:
        assert "refuses a sample rate of 500 Hz" in work(loop, "wrong", "pulse", "500")["problem"]


class TestPorts:
    def test_devices_are_listed(self, loop: PrivateSound) -> None:
        got = work(loop, "command", "ports", "--json")
        listed = json.loads(got["out"])
        assert got["code"] == 0
        assert listed["reason"] is None
        assert {"pulse", "default"} <= {d["name"] for d in listed["devices"]}
        lines = work(loop, "command", "ports")["out"].splitlines()
        assert any(line.startswith("pulse: 32 in, 32 out, ") for line in lines)

    def test_no_device_is_said_and_is_no_error(self, nothing: PrivateSound) -> None:
        got = work(nothing, "command", "ports")
        assert got["code"] == 0
        assert got["out"].startswith("there is no sound device")

    def test_no_library_is_said_and_is_no_error(self, nothing: PrivateSound) -> None:
        got = work(nothing, "no_library", "ports")
        assert got["code"] == 0
        assert "apt install libportaudio2" in json.loads(got["out"])["reason"]
