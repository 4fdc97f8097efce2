"""The result of a line-up by the true state of the practice machine, not by the readings, and its bounds.

Bounds: bias within 0.5 dB of right, channels within 0.5 dB of each other, record equalisation within 0.7 dB, and at
−20 dB the tape equals the source within 0.5 dB: ±0.5 dB to 2 kHz is what noise reduction needs (common practice, no
source).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bench.practice.switched import AnyMachine, SwitchedMachine
from bench.procedure.model.job import Job
from tests.practice.deck import RATE, level_dbfs, tone

BOUNDS: Mapping[str, float] = {
    "bias": 0.5,
    "bias apart": 0.5,
    "record equalisation": 0.7,
    "level at −20 dB": 0.5,
    "record level control": 0.6,
}
"""Largest error of each figure, dB."""

PIECE = RATE // 200
"""Two periods of 400 Hz."""


def left(machine: AnyMachine, job: Job, seconds: float = 20.0) -> dict[str, tuple[float, ...]]:
    """The errors of each figure in `BOUNDS`, dB: of both channels and, where the machine has several, all settings.

    Args:
        machine: as the line-up left it.
        job: the job that was done on it.
        seconds: length of the tone that level is read on; a rough tape wanders.
    """
    errors: dict[str, list[float]] = {name: [] for name in BOUNDS}
    for at in (job, *(job.at(further.lot) for further in job.further)):
        if isinstance(machine, SwitchedMachine):
            machine.switch("setting", at.machine.setting[0].name)
        truth = machine.truth()
        pairs = {
            name: [truth[at.machine.trimmer(f"{name} {side}")] for side in ("left", "right")]
            for name in ("bias", "record equalisation", "record level control")
        }
        for name, pair in pairs.items():
            errors[name] += pair
        errors["bias apart"].append(pairs["bias"][0] - pairs["bias"][1])
        errors["level at −20 dB"] += tape_re_source(machine, at.machine.heads, {400.0: -20.0}, seconds)[400.0]
    return {name: tuple(values) for name, values in errors.items()}


def beyond(errors: Mapping[str, tuple[float, ...]]) -> dict[str, float]:
    """The worst error of each figure that is out of bounds, dB."""
    worst = {name: max(values, key=abs) for name, values in errors.items()}
    return {name: round(error, 2) for name, error in worst.items() if abs(error) >= BOUNDS[name]}


def tape_re_source(
    machine: AnyMachine, heads: int, sends: Mapping[float, float], seconds: float = 2.0
) -> dict[float, list[float]]:
    """The tape relative to the source, dB, of both channels, read by correlation and not by the program's meters.

    Args:
        machine: the machine.
        heads: 2 or 3.
        sends: tones sent together: frequency to level, dB re the reference level.
        seconds: their length.
    """
    sent = np.sum([tone(hz, -12.0 + db, seconds) for hz, db in sends.items()], axis=0)
    machine.load("work")
    machine.rewind()
    machine.switch("noise-reduction", "off")
    machine.switch("monitor", "source")
    machine.switch("transport", "record")
    source = machine.process(sent)
    machine.switch("monitor", "tape")
    if heads == 3:
        tape = machine.process(sent)
    else:
        machine.rewind()
        machine.switch("transport", "play")
        tape = machine.process(np.zeros_like(sent))
    return {hz: [_level_dbfs(tape[:, c], hz) - _level_dbfs(source[:, c], hz) for c in (0, 1)] for hz in sends}


def _level_dbfs(signal: np.ndarray, hz: float) -> float:
    """Median over 5 ms each, which flutter and dropouts do not change; without the first half second."""
    pieces = signal[RATE // 2 :]
    pieces = pieces[: len(pieces) // PIECE * PIECE].reshape(-1, PIECE)
    return float(np.median([level_dbfs(piece, hz) for piece in pieces]))
