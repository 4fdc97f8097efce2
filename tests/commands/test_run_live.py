"""Procedures played through real PortAudio duplex, with a process of its own as the machine in the loop."""

from __future__ import annotations

import re
import shutil
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import tomli_w

from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Overridden, SoundBack, SoundLost
from bench.session.record.reader import read_session
from tests.commands.typed_run import Typed
from tests.live_audio import Deck, PrivateSound, missing

pytestmark = [pytest.mark.live, pytest.mark.skipif(missing() is not None, reason=str(missing()))]

REPO = Path(__file__).parents[2]

PLAYED = (
    *("level-315", "azimuth-1k", "azimuth-10k"),
    *("response-315", "response-40", "response-12k5", "speed-3150"),
)


@pytest.fixture
def deck() -> Iterator[tuple[PrivateSound, Deck]]:
    with PrivateSound("deck") as sound, Deck(sound) as machine:
        machine.set("delay", 4000)
        machine.set("noise_db", -75)
        yield sound, machine


@pytest.fixture
def workspace(tmp_path: Path) -> Path:
    """The shipped procedures and sheets; every tone is cut short, and only some are recorded and played."""
    shutil.copytree(REPO / "procedures", tmp_path / "procedures")
    check = tmp_path / "procedures" / "record-replay-check.toml"
    before, kind, recorded = check.read_text(encoding="utf-8").partition('kind = "record-replay"')
    recorded = re.sub(r"    \{ hz = (250|2000|4000|6300|8000|12500), db = -20 \},\n", "", recorded)
    recorded = re.sub(r"(\{ hz = \d+, db = -?\d+) \}", r"\1, seconds = 1.2 }", recorded)
    check.write_text(before + kind + recorded, encoding="utf-8")
    path = tmp_path / "procedures" / "sheets" / "reference-tapes" / "cassette-reference.toml"
    tape = tomllib.loads(path.read_text(encoding="utf-8"))
    tape["section"] = [{**section, "seconds": 2.0} for section in tape["section"] if section["id"] in PLAYED]
    path.write_text(tomli_w.dumps(tape), encoding="utf-8")
    return tmp_path


def reference_tape(workspace: Path) -> list[tuple[float, float, float]]:
    """What the reference tape gives on a correct machine: dBFS at the interface, with gaps between the tones."""
    sheets = workspace / "procedures" / "sheets"
    tape = tomllib.loads((sheets / "reference-tapes" / "cassette-reference.toml").read_text(encoding="utf-8"))
    machine = tomllib.loads((sheets / "machines" / "three-head-cassette.toml").read_text(encoding="utf-8"))
    assert tape["fluxivity_nwb_m"] == machine["reference"]["fluxivity_nwb_m"]
    zero = machine["reference"]["replay_dbfs"]
    tones: list[tuple[float, float, float]] = []
    for s in tape["section"]:
        tones += [(s["hz"], zero + s["db"] + s.get("recorded_error_db", 0.0), s["seconds"]), (0.0, 0.0, 0.5)]
    return tones


def run(sound: PrivateSound, workspace: Path, procedure: str) -> Typed:
    args = ["--workspace", str(workspace), "run", procedure, "--port", "live", "--plain"]
    return Typed(args, sound.env, REPO)


def tick_all(typed: Typed) -> None:
    """Tick every line of the checklist, and go on."""
    typed.wait_for("> Done: go on")
    count = sum(re.match(r"  \d+\. to do: ", line) is not None for line in typed.said)
    assert count
    for n in range(count):
        typed.type(f"tick {n + 1}")
    typed.type()


def only_session(workspace: Path) -> Any:
    (folder,) = (p for p in (workspace / "sessions").iterdir() if p.is_dir())
    return read_session(folder)


def test_the_reference_tape_is_played_and_every_tone_ticked_off(
    deck: tuple[PrivateSound, Deck], workspace: Path
) -> None:
    sound, machine = deck
    machine.set("left_db", -1.0)
    machine.set("skew", 1)  # one frame of 48 kHz: the right channel 20.8 µs late
    typed = run(sound, workspace, "play-reference")
    try:
        tick_all(typed)
        typed.wait_for("Not cleaned and not demagnetised in this run")
        typed.type("a machine made of arithmetic has no heads")
        typed.wait_for("> Listening")
        machine.play_tape(reference_tape(workspace))
        typed.wait_for("readings are not in. No adjustment of this job affects them", 90)
        typed.type()
        code, stdout = typed.end()
    finally:
        typed.kill()
    assert code == 1
    assert "is out: Play it, and listen" in stdout
    session = only_session(workspace)
    assert {e.reason for e in of_kind(session.events, Overridden)} == {"a machine made of arithmetic has no heads"}
    values = {
        (r.reading.quantity, r.reading.channel, r.reading.frequency_hz): r.reading.value for r in session.readings
    }
    assert values["level", "left", 315.0] == pytest.approx(-13.0, abs=0.01)
    assert values["level", "right", 315.0] == pytest.approx(-12.0, abs=0.01)
    assert values["azimuth_delay", "left-right", 10000.0] == pytest.approx(1e6 / 48000, abs=0.05)
    for hz, error in ((40.0, -0.1), (12500.0, 0.3)):  # the sheet's recorded errors
        assert values["response", "left", hz] == pytest.approx(error, abs=0.05)
    assert all(abs(v) < 0.01 for (q, _, _), v in values.items() if q == "speed_error")


def test_recorded_and_replayed_with_the_device_taken_away_in_mid_step(
    deck: tuple[PrivateSound, Deck], workspace: Path
) -> None:
    sound, machine = deck
    machine.set("right_db", -0.3)
    typed = run(sound, workspace, "record-replay-check")
    try:
        tick_all(typed)
        for _ in range(3):
            typed.wait_for("go on to start")
            typed.type()
        for hz in ("40 Hz", "63 Hz", "125 Hz"):
            typed.wait_for(f"response, left, {hz}")
        sound.kill()
        typed.wait_for("sound lost")
        kept = [line.split()[1] for line in typed.said if line.startswith("accepted")]
        sound.restart()
        machine.restart()
        typed.wait_for("sound is back")
        typed.wait_for("tones start again when you go on")
        typed.type()
        code, stdout = typed.end(120)
    finally:
        typed.kill()
    assert (code, stdout.splitlines()[0][:31]) == (0, "All in. All 14 judged readings ")
    session = only_session(workspace)
    assert [type(e) for e in session.events if isinstance(e, SoundLost | SoundBack)] == [SoundLost, SoundBack]
    ids = [r.id for r in session.readings]
    assert ids[: len(kept)] == kept
    assert len(kept) >= 10
    assert len(ids) == len(set(ids))
    sources = {r.reading.channel: r.reading.value for r in session.readings if r.step == "source"}
    assert sources["left"] == pytest.approx(0.0, abs=0.01)
    assert sources["right"] == pytest.approx(-0.3, abs=0.01)
    levels = {r.reading.channel: r.reading.value for r in session.readings if r.step == "level"}
    assert levels["left"] == pytest.approx(0.0, abs=0.01)
    assert levels["right"] == pytest.approx(0.0, abs=0.01)  # relative to the source, which is low by as much
