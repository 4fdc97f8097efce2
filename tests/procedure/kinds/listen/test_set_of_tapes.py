"""A set of reference tapes with one tone each: nobody waits for the end of a long tone."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bench.clock import RehearsalClock
from bench.open_run import open_run
from bench.procedure.kinds.listen import reference
from bench.procedure.run import commands as say
from bench.run_request import RunRequest
from bench.workspace import Workspace
from tests.procedure.flow_bench import CLEAN, HEAD
from tests.smooth import smooth_procedures

PLAY = """
[[step]]
kind = "reference"
id = "play"
title = "Play"
do = "Play them."
stage = "found-clean"
[step.targets]
level = "machine.replay_level"
azimuth_delay = "machine.replay_azimuth"
speed_error = "machine.speed_accepted"
"""
TONE_S = 10.0
LEVEL = [("level", "left"), ("level", "right")]
AZIMUTH = [("azimuth_delay", "left-right")]
SPEED = [("speed_error", "left"), ("speed_error", "right")]


@pytest.fixture
def workspace(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Workspace:
    """Tones of ten seconds, of which four are enough."""
    monkeypatch.setattr(reference, "LONG_ENOUGH_S", 4.0)
    smooth_procedures(tmp_path / "procedures")
    (tmp_path / "procedures" / "t.toml").write_text(HEAD + CLEAN + PLAY, encoding="utf-8")
    workspace = Workspace(tmp_path)
    for sheet in (workspace.sheets / "reference-tapes").glob("workshop-*.toml"):
        sheet.write_text(re.sub("(?m)^seconds = .*", f"seconds = {TONE_S}", sheet.read_text(encoding="utf-8")))
    return workspace


def play(workspace: Workspace) -> tuple[float, list[tuple[str, str]]]:
    """Play the set: for how many seconds, and the readings."""
    run = open_run(workspace, RunRequest("t", reference_tape="workshop-set"), RehearsalClock(), real_time=False)
    run.port.open()
    run.runner.begin()
    while not run.runner.wants_sound:
        run.runner.obey(say.GoOn())
    began = run.clock.now()
    while run.runner.wants_sound:
        block = run.port.read(0.0)
        assert block is not None
        run.runner.hear(block)
    run.store.close()
    assert all(r.measured is not None for r in run.store.records())
    return run.clock.now() - began, [(r.reading.quantity, r.reading.channel) for r in run.store.records()]


def test_the_program_changes_tapes_before_a_tone_ends(workspace: Workspace) -> None:
    seconds, kept = play(workspace)
    assert kept == LEVEL + AZIMUTH + SPEED
    assert seconds < 2 * TONE_S


def test_where_a_person_changes_tapes_the_rest_of_a_tone_is_ignored(
    workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The third tape has the tone of the second: only the pause between them tells them apart."""
    monkeypatch.setattr(reference.ReferenceActivity, "wind_on", lambda _: None)
    tapes = workspace.sheets / "reference-tapes"
    azimuth = (tapes / "workshop-azimuth-10k.toml").read_text(encoding="utf-8").replace("azimuth-10k", "azimuth-again")
    (tapes / "workshop-speed-3000.toml").write_text(azimuth.replace("Workshop azimuth", "Another"), encoding="utf-8")
    seconds, kept = play(workspace)
    assert kept[:3] == LEVEL + AZIMUTH
    assert 2.5 * TONE_S < seconds < 3 * TONE_S
