"""The whole chain: a machine is measured by a procedure, its tape is transferred, and its session decodes it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
import soundfile

from bench.audio.practice import PracticePort
from bench.cli import main
from bench.clock import RehearsalClock
from bench.open_run import open_run
from bench.practice.machine import PracticeMachine
from bench.run_request import RunRequest
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse, target_answers
from bench.workspace import Workspace
from tests.practice.deck import run
from tests.smooth import smooth_procedures
from tests.transfer.programme import TONES as LEVELS
from tests.transfer.test_round_trip import FULL, NOTHING, REFERENCE_DBFS, SENT, converted, worst_errors
from tests.transfer.wrong_machines import RATE, SIDES, Wrong, drawn, set_right, turned_to

ROOT = Path(__file__).resolve().parents[2]
NOTHING_TURNED = """
format = 1
title = "As it stands"
summary = "Clean, record and replay, then the reference tape."
takes_minutes = 20
needs = ["the reference tape"]
"""
FOLLOWED = ("clean", "demagnetise", "record-replay-check", "play-reference")


def measured(workspace: Path, seed: int) -> tuple[Path, PracticeMachine]:
    """The session of a procedure that measures a two-head deck as found, and the deck.

    Its replay is out of adjustment at random; its recording, azimuth and speed are those of `drawn`.
    """
    smooth_procedures(workspace / "procedures")
    # Steady tones need no more, and this halves the time.
    tape = workspace / "procedures" / "sheets" / "reference-tapes" / "cassette-reference.toml"
    seconds = re.sub(r"^seconds = .*$", "seconds = 3.0", tape.read_text(encoding="utf-8"), flags=re.MULTILINE)
    tape.write_text(seconds, encoding="utf-8")
    text = NOTHING_TURNED
    for name in FOLLOWED:
        text += f'\n[[step]]\nkind = "follow"\nid = "{name}"\ntitle = "{name}"\nprocedure = "{name}"\n'
    (workspace / "procedures" / "as-it-stands.toml").write_text(text, encoding="utf-8")
    wrong = drawn(seed)
    sheet = workspace / "procedures" / "sheets" / "machines" / "two-head-cassette.toml"
    assert sheet.read_text(encoding="utf-8").rsplit("\n[", 1)[1].startswith("practice]")
    with sheet.open("a", encoding="utf-8") as file:  # its own trimmers do not reach so far
        file.writelines(f"record_equalisation_{s}_db = {db}\n" for s, db in zip(SIDES, wrong.treble_db, strict=True))
    clock = RehearsalClock()
    request = RunRequest("as-it-stands", "two-head-cassette", seed=seed)
    run = open_run(Workspace(workspace), request, clock, real_time=False)
    assert isinstance(run.port, PracticePort)
    machine = run.port.machine
    assert isinstance(machine, PracticeMachine)
    for trimmer, error in errors_of(wrong).items():
        turned_to(machine, trimmer, error)
    rehearse(run.runner, run.port, clock, UnattendedHands(answers=target_answers(run.job)))
    run.store.close()
    return run.store.folder, machine


def errors_of(wrong: Wrong) -> dict[str, float]:
    """What the trimmers are set to, as near as their stops allow."""
    errors = {"replay azimuth": wrong.azimuth_arcmin, "speed": wrong.fast_percent}
    for side, level, treble in zip(SIDES, wrong.level_db, wrong.treble_db, strict=True):
        errors |= {f"bias {side}": 0.0, f"record level {side}": level, f"record equalisation {side}": treble}
    return errors


def transferred(machine: PracticeMachine, sound: np.ndarray) -> np.ndarray:
    """Record on the machine as found, and replay after its replay side has been corrected.

    A session does not record the user's controls, which are where the meters read correctly.
    """
    for name in machine.truth():
        if "control" in name:
            set_right(machine, name)
    machine.load("work")
    machine.rewind()
    machine.switch("transport", "record")
    machine.process(np.concatenate((sound, np.zeros((RATE // 2, 2)))))
    machine.switch("transport", "stop")
    for name in machine.truth():
        if name.startswith(("replay", "speed")):
            set_right(machine, name)
    run(machine, 0.5)
    machine.rewind()
    machine.switch("transport", "play")
    return run(machine, len(sound) / RATE * 1.02)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(0, 50, 10))
def test_a_tape_of_a_machine_as_it_stood(seed: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    session, machine = measured(tmp_path, seed)
    came = transferred(machine, converted(SENT * FULL, NOTHING, decode=False))
    soundfile.write(tmp_path / "transfer.wav", came, RATE, subtype="PCM_24")
    capsys.readouterr()
    command = ["decode", str(tmp_path / "transfer.wav"), str(tmp_path / "out.flac")]
    command += ["--reference-level", str(REFERENCE_DBFS), "--json", "--force"]
    assert main([*command, "--session", str(session), "--stage", "as-left"]) == 0
    said = json.loads(capsys.readouterr().out)
    octaves, levels = worst_errors(soundfile.read(tmp_path / "out.flac")[0] / FULL)
    assert main([*command, "--speed-error", str(said["speed_error_percent"])]) == 0
    without = worst_errors(soundfile.read(tmp_path / "out.flac")[0] / FULL)
    print(f"seed {seed}: octaves within {octaves:.2f} dB, tones {levels:.2f} dB; without {max(without):.1f} dB")
    assert octaves < 1.0
    assert levels < max(u["uncertainty_db"] for u in said["uncertainty"] if u["frequency_hz"] in dict(LEVELS)) + 0.5
    assert max(octaves, levels) < max(without)
    assert said["warnings"] == []
