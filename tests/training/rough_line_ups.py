"""Line-ups of rough machines by unattended hands, and the true errors of their trimmers afterwards."""

from __future__ import annotations

import argparse
import math
import re
import shutil
import tempfile
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from bench.audio.practice import PracticePort
from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run
from bench.practice_setup import build_practice_machine
from bench.procedure.model.sheets import Fault
from bench.procedure.run.runner import Runner
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import RoundsRecorded, Turned
from bench.procedure.state.snapshot import Outcome
from bench.run_request import RunRequest
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse, target_answers
from bench.training.trimmer_verdicts import usual_tolerance
from bench.workspace import Workspace, shipped_procedures
from tests.training.left_by_truth import beyond, left

PARTS = {
    "replay, three heads": ("replay-line-up", "three-head-cassette"),
    "replay, two heads": ("replay-line-up", "two-head-cassette"),
    "record, three heads": ("record-line-up-three-head", "three-head-cassette"),
    "record, two heads": ("record-line-up-two-head", "two-head-cassette"),
    "replay, 38 cm/s": ("replay-line-up-open-reel", "open-reel-381-iec"),
    "record, 38 cm/s": ("record-line-up-open-reel-iec", "open-reel-381-iec"),
}
"""Procedure and machine of each part of a job."""

JOBS = (
    "line-up-cassette",
    "cassette-three-head",
    "cassette-two-head",
    "first-line-up",
    "cassette-several-tapes",
    "open-reel-iec",
    "open-reel-nab",
    "open-reel-two-speeds",
)
"""The whole jobs that line up replay and record."""


@dataclass(frozen=True)
class LineUp:
    """A line-up that is over."""

    errors: Mapping[str, float]
    """Remaining error of each trimmer that was turned, in tolerances of the debrief."""
    turns: int
    rounds: int
    words: Mapping[str, int]
    """Count of each verdict."""
    minutes: float
    left: Mapping[str, tuple[float, ...]]
    """Errors after a line-up of the record side, dB, as in `BOUNDS`; empty if it is not lined up."""
    outcome: Outcome

    @property
    def out(self) -> dict[str, float]:
        """The trimmers whose true error is out of tolerance."""
        return {name: round(error, 2) for name, error in self.errors.items() if abs(error) > 1}


def line_up(folder: Path, job: str, grade: str, seed: int) -> LineUp:
    """Line up a machine of a grade.

    Args:
        folder: an empty folder.
        job: one of `JOBS` or `PARTS`.
        grade: as `practice.grade` of a sheet; "" for that of the sheet.
        seed: number of the machine.
    """
    shutil.copytree(shipped_procedures(), folder / "procedures")  # also makes the folder
    for sheet in (folder / "procedures" / "sheets" / "machines").glob("*.toml"):
        text = sheet.read_text(encoding="utf-8")
        if grade:
            text = re.sub(r'^grade = ".*"$', f'grade = "{grade}"', text, flags=re.MULTILINE)
        if job in PARTS:
            # No dirt: only the line-up is tested, and a part of a job does not clean.
            text = re.sub(r"^(replay|record)_dirt.*$", "", text, flags=re.MULTILINE)
        sheet.write_text(text, encoding="utf-8")
    clock = RehearsalClock()
    request = RunRequest(*PARTS[job], seed=seed) if job in PARTS else RunRequest(job, seed=seed)
    opened = open_run(Workspace(folder), request, clock, real_time=False)
    if job in PARTS:
        opened = _ready_for_a_part(opened, job, seed, clock)
    hands = UnattendedHands(answers=target_answers(opened.job), override="rehearsed without cleaning")
    start = clock.now()
    try:
        outcome = rehearse(opened.runner, opened.port, opened.clock, hands)
    finally:
        opened.store.close()
    events = opened.store.events()
    turned = list(of_kind(events, Turned))
    assert isinstance(opened.port, PracticePort)
    machine = opened.port.machine
    truth = machine.truth()
    minutes = (clock.now() - start) / 60
    return LineUp(
        {t: truth[t] / usual_tolerance(t) for t in dict.fromkeys(e.trimmer for e in turned)},
        sum(len(e.degrees) for e in turned),
        sum(e.rounds for e in of_kind(events, RoundsRecorded)),
        {str(word): count for word, count in outcome.words.items()},
        minutes,
        {} if job.startswith("replay") else left(machine, opened.job),
        outcome,
    )


def _ready_for_a_part(opened: OpenRun, job: str, seed: int, clock: RehearsalClock) -> OpenRun:
    """The run with a machine as it is when the part begins."""
    if job.startswith("record"):
        # Replay is right, as it is by the time the record side is adjusted.
        off = Fault(format=1, sheet="fault", name="Off", tells="It is off.", practice=_record_side_off(seed, opened))
        sheets = opened.job.machine, opened.job.tape, opened.job.reference_tape
        built = build_practice_machine(*sheets, seed=seed, faults=[off], misadjustment=0.0)
        port = PracticePort(built, clock, real_time=False)
        opened = replace(opened, port=port, runner=Runner(opened.job, port, opened.store, clock))
    assert isinstance(opened.port, PracticePort)
    opened.port.machine.output_to_mark()  # as after loading a tape, which a part of a job does not do
    return opened


def _record_side_off(seed: int, opened: OpenRun) -> dict[str, float | str | bool]:
    """Errors of record trimmers as the practice machine draws them."""
    rng = np.random.default_rng([seed, 77])
    keys = {"bias": 3.0, "record_level": 6.0, "record_equalisation": 3.0}
    changes = {f"{k}_{side}_db": float(rng.uniform(-s, s)) for k, s in keys.items() for side in ("left", "right")}
    if opened.job.machine.heads == 3:
        changes["record_azimuth_arcmin"] = float(rng.uniform(-10, 10))
    return {**changes}


def main() -> None:
    """Print a row for each seed and grade."""
    parser = argparse.ArgumentParser()
    parser.add_argument("job", choices=(*JOBS, *PARTS))
    parser.add_argument("grades", nargs="*", default=[""], help="without one, the grade of the sheet")
    parser.add_argument("--seeds", default="1-4")
    parser.add_argument("--minutes", type=float, default=math.inf, help="begin no further line-up after this time")
    arguments = parser.parse_args()
    first, last = (int(n) for n in arguments.seeds.split("-"))
    begun = time.monotonic()
    for seed in range(first, last + 1):
        for grade in arguments.grades:
            if time.monotonic() - begun > 60 * arguments.minutes:
                return
            with tempfile.TemporaryDirectory() as folder:
                done = line_up(Path(folder), arguments.job, grade, seed)
            worst = max(map(abs, done.errors.values()), default=0.0)
            figures = ", ".join(
                f"{name} {' '.join(f'{error:+.2f}' for error in errors)}" for name, errors in done.left.items()
            )
            print(
                f"{arguments.job}, {grade or 'sheet'}, seed {seed}: beyond {beyond(done.left)}; {figures}; "
                f"worst {worst:.2f}, out {done.out}, {done.turns} turns, {done.rounds} rounds, {dict(done.words)}, "
                f"{done.minutes:.0f} min, {time.monotonic() - begun:.0f} s; {done.outcome.said}",
                flush=True,
            )


if __name__ == "__main__":
    main()
