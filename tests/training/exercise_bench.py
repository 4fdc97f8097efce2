"""A short exercise, and trainees who see only what the screen shows."""

from __future__ import annotations

import re
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run
from bench.procedure.model.sheets import Exercise
from bench.procedure.run.commands import Answer, Command, Leave, RunTest, Skip
from bench.procedure.state.snapshot import Snapshot
from bench.run_request import RunRequest
from bench.training.exercise import CLOSING
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from bench.workspace import Workspace
from tests.smooth import smooth_machines

REPO = Path(__file__).parents[2]

STEPS = """format = 1
title = "Replay, for practice"
summary = "Clean, then set replay by the reference tape."
takes_minutes = 10
machine = "three-head-cassette"
reference_tape = "cassette-reference"

[[step]]
kind = "by-hand"
id = "clean"
title = "Clean"
do = "Clean heads, capstan and roller."
does = ["clean"]

[[step]]
kind = "by-hand"
id = "demagnetise"
title = "Demagnetise"
do = "Demagnetise heads and guides."
does = ["demagnetise"]

[[step]]
kind = "by-hand"
id = "thread"
title = "Reference tape in"
do = "Thread the reference tape."
does = ["load-reference-tape", "output-to-mark"]
"""

ADJUST = """
[[step]]
kind = "adjust"
id = "{id}"
title = "{id}"
do = "Turn."
quantity = "{quantity}"
plays = "{plays}"
target = "machine.{target}"
trimmers = {{ {trimmers} }}
"""

PLAY = """
[[step]]
kind = "reference"
id = "{id}"
title = "{title}"
stage = "{stage}"
do = "Play it."
purposes = ["level", "azimuth", "response"]

[step.targets]
level = "machine.replay_level"
azimuth_delay = "machine.replay_azimuth"
response = "machine.replay_response"
"""

BOTH = 'left = "{0} left", right = "{0} right"'
AZIMUTH = 'both = "replay azimuth"'


SECTIONS = {
    "level-315": 6.0,
    "azimuth-1k": 4.0,
    "azimuth-3k15": 4.0,
    "azimuth-10k": 6.0,
    **{f"response-{hz}": 4.0 for hz in ("63", "315", "4k", "10k")},
}
"""Sections of the reference tape here, with their seconds, so that a pass takes less than a minute.

Only the azimuth tone at 1 kHz shows whether a channel is inverted.
"""


def procedure() -> str:
    """The exercise as a procedure file."""
    steps = [
        ("azimuth-low", "azimuth_delay", "azimuth-1k", "replay_azimuth_coarse", AZIMUTH),
        ("azimuth-middle", "azimuth_delay", "azimuth-3k15", "replay_azimuth_coarse", AZIMUTH),
        ("azimuth-high", "azimuth_delay", "azimuth-10k", "replay_azimuth", AZIMUTH),
        ("level", "level", "level-315", "replay_level", BOTH.format("replay level")),
        ("equalisation", "response", "response-10k", "replay_response", BOTH.format("replay equalisation")),
        ("level-again", "level", "level-315", "replay_level", BOTH.format("replay level")),
    ]
    names = ("id", "quantity", "plays", "target", "trimmers")
    found = PLAY.format(id="found", title="As found", stage="found-clean")
    left = PLAY.format(id="play", title="As left", stage="left")
    return STEPS + found + "".join(ADJUST.format(**dict(zip(names, s, strict=True))) for s in steps) + left


def workspace(folder: Path) -> Workspace:
    """A workspace with that procedure and the shipped sheets, and a shortened reference tape."""
    (folder / "procedures").mkdir()
    sheets = folder / "procedures" / "sheets"
    shutil.copytree(REPO / "procedures" / "sheets", sheets)
    smooth_machines(sheets)
    tape = sheets / "reference-tapes" / "cassette-reference.toml"
    head, *sections = tape.read_text(encoding="utf-8").split("[[section]]")
    kept = [
        re.sub(r"seconds = [0-9.]+", f"seconds = {SECTIONS[name]}", section)
        for section in sections
        if (name := section.split('"')[1]) in SECTIONS
    ]
    tape.write_text("[[section]]".join([head, *kept]), encoding="utf-8")
    (folder / "procedures" / "replay.toml").write_text(procedure(), encoding="utf-8")
    return Workspace(folder)


def exercise(*faults: str, **facts: Any) -> Exercise:
    """An exercise on that procedure."""
    return Exercise(format=1, sheet="exercise", name="Replay", procedure="replay", faults=faults, **facts)


@dataclass(slots=True)
class Perfect(UnattendedHands):
    """Turns everything until the readings are in, and names what was wrong."""


@dataclass(slots=True)
class DoesNothing(UnattendedHands):
    """Skips every step with a reason, and names nothing."""

    def decide(self, snapshot: Snapshot, now: float) -> Command | None:
        """Skip everything except the last question."""
        step = snapshot.step
        if step is None or step.id == CLOSING:
            return UnattendedHands.decide(self, snapshot, now)
        return Skip("no time")


@dataclass(slots=True)
class HidesAzimuth(UnattendedHands):
    """Leaves the azimuth screw alone and compensates its loss with equalisation."""

    screw: tuple[str, ...] = field(default=("azimuth-low", "azimuth-middle", "azimuth-high"))

    def decide(self, snapshot: Snapshot, now: float) -> Command | None:
        """Decide like the careful hands, except at the azimuth steps."""
        step = snapshot.step
        if step is not None and step.id in self.screw:
            return Skip("it sounded all right")
        return UnattendedHands.decide(self, snapshot, now)


@dataclass(slots=True)
class Hasty(UnattendedHands):
    """Skips two of every three adjusting steps."""

    seed: int = 0

    def decide(self, snapshot: Snapshot, now: float) -> Command | None:
        """Skip depending on the number of the step."""
        step = snapshot.step
        if step is not None and step.kind == "adjust" and (step.index + self.seed) % 3:
            return Skip("no time")
        return UnattendedHands.decide(self, snapshot, now)


@dataclass(slots=True)
class Argues(UnattendedHands):
    """Runs a test instead of adjusting; names azimuth with the delay that shows it, and a capstan without a reading."""

    tested: bool = False

    def decide(self, snapshot: Snapshot, now: float) -> Command | None:
        """Choose from the lists of the closing question."""
        if snapshot.step is not None and snapshot.step.kind == "choose-test":
            self.tested = True
            return Answer("read the delay between the channels at three tones")
        if snapshot.step is not None and snapshot.step.kind == "adjust":
            return Skip("not asked for") if self.tested else RunTest()
        if snapshot.step is None or snapshot.step.id != CLOSING:
            return UnattendedHands.decide(self, snapshot, now)
        choices = snapshot.prompt.choices
        shows = ["No reading"] if snapshot.prompt.text.startswith("Bent") else []
        wanted = [*shows, "Replay azimuth out of adjustment", "Bent capstan", "azimuth", "read the delay", "No other"]
        return Answer(next(c for w in wanted for c in choices if c.startswith(w)))


@dataclass(slots=True)
class Withdraws(DoesNothing):
    """Skips every step; chooses one cause by mistake, names another and withdraws it, and names the right one."""

    said: list[str] = field(
        default_factory=lambda: [
            *("Head bump", "Chosen by mistake: back to the list of causes"),
            *("Bent capstan", "No reading of this session shows it", "Withdraw: Bent capstan"),
            *("Replay azimuth out of adjustment", "No reading of this session shows it"),
        ]
    )

    def decide(self, snapshot: Snapshot, now: float) -> Command | None:
        """Give the next answer; the first of the list where a test is asked for, and finish at the end."""
        if snapshot.step is None or snapshot.step.id != CLOSING:
            return DoesNothing.decide(self, snapshot, now)
        if "Which test" in snapshot.prompt.text:
            return Answer(snapshot.prompt.choices[0])
        return Answer(self.said.pop(0) if self.said else "No other cause: finish")


@dataclass(slots=True)
class OnlyTests(UnattendedHands):
    """Runs one test at the first step, and leaves."""

    test: str = ""
    chosen: bool = False

    def decide(self, snapshot: Snapshot, now: float) -> Command | None:
        """Choose the test, do its steps, and leave when the first step is back."""
        if snapshot.step is not None and snapshot.step.kind == "choose-test":
            self.chosen = True
            return Answer(self.test)
        if snapshot.step is not None and snapshot.step.id.startswith("test-"):
            return UnattendedHands.decide(self, snapshot, now)
        return Leave() if self.chosen else RunTest()


def go_through(folder: Path, trainee: UnattendedHands, sheet: Exercise) -> OpenRun:
    """Run the whole exercise with one trainee; the session is closed and has its debrief."""
    clock = RehearsalClock()
    opened = open_run(workspace(folder), RunRequest("", exercise=sheet), clock, real_time=False)
    try:
        rehearse(opened.runner, opened.port, clock, trainee)
    finally:
        opened.end()
    return opened
