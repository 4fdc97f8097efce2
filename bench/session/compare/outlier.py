"""The odd one out of a fleet: the machine without which tapes would be exchanged best.

The errors of every pair are divided by the accepted error of their kind (common practice, no source); the spread is
their root mean square over all pairs. The odd one out is the machine whose removal reduces the spread most. Its
farthest error decides whether that is chance: a distance d from the mean of the others, with expanded uncertainty U,
arises from the readings' uncertainty alone with probability erfc(√2 d/U), multiplied by the number of errors examined
(Bonferroni), because one of many is far off by luck.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import mean
from typing import Literal

from bench.session.compare.machine_errors import ErrorKind, MachineErrors, Value, What

ACCEPTED: dict[What, float] = {"level": 0.5, "response": 2.0, "azimuth": 10.0, "speed": 0.5}
"""Accepted error of each kind: dB, dB, µs, % (common practice, no source)."""
CHANCE = 0.05
"""A distance with a lower probability than this is not chance."""
Half = Literal["replay", "recording"]


@dataclass(frozen=True, slots=True)
class Outlier:
    """Which machine it is, or why none can be named."""

    machines: tuple[str, ...]
    """The machines compared."""
    machine: str
    """"" where none can be named."""
    because: str
    """Why none can be named; "" where one is."""
    spread: float = 0.0
    """Spread of the whole group, in units of the accepted errors."""
    without: float = 0.0
    """Spread of the group without it."""
    half: Half = "replay"
    kind: ErrorKind | None = None
    """Its error that is farthest from the others."""
    distance: Value | None = None
    """Distance of that error from the mean of the others."""
    chance: float = 1.0
    """The probability that the readings' uncertainty alone moves some error this far from the others."""


def find_outlier(machines: Sequence[MachineErrors]) -> Outlier:
    """Find the odd one out among machines that can exchange tapes."""
    names = tuple(m.machine for m in machines)
    if len(machines) < 3:
        return Outlier(names, "", "two machines cannot show which one is out; three are needed")
    whole = spread(machines)
    if whole is None:
        return Outlier(names, "", "not enough was read of them")
    rest = {}
    for machine in machines:
        others = spread([m for m in machines if m is not machine])
        if others is not None:
            rest[machine.machine] = others
    if not rest:
        return Outlier(names, "", "not enough was read of them")
    name = min(rest, key=lambda n: rest[n])
    mine = next(m for m in machines if m.machine == name)
    half, kind, distance, chance = _farthest(mine, [m for m in machines if m.machine != name])
    if kind is None or chance >= CHANCE:
        why = "none differs from the others by more than the readings' uncertainty explains"
        return Outlier(names, "", why, whole, rest[name], half, kind, distance, chance)
    return Outlier(names, name, "", whole, rest[name], half, kind, distance, chance)


def spread(machines: Sequence[MachineErrors]) -> float | None:
    """Root mean square of all pairs' errors, in units of the accepted errors; None where no pair has any.

    Level, response, azimuth and speed have equal weight, however many tones were read of each.
    """
    squares: dict[What, list[float]] = {}
    for a in machines:
        left = recording(a)
        for b in machines:
            if a is b:
                continue
            for kind, value in left.items():
                if kind in b.replay:
                    error = value.value + b.replay[kind].value
                    squares.setdefault(kind.what, []).append((error / ACCEPTED[kind.what]) ** 2)
    return math.sqrt(sum(map(mean, squares.values())) / len(squares)) if squares else None


def recording(machine: MachineErrors) -> dict[ErrorKind, Value]:
    """The errors that a machine leaves on a tape: its record-to-replay error minus its replay error."""
    return {t: v - machine.replay[t] for t, v in machine.own.items() if t in machine.replay}


def _farthest(
    mine: MachineErrors, others: Sequence[MachineErrors]
) -> tuple[Half, ErrorKind | None, Value | None, float]:
    """The error of a machine that lies farthest from the others, relative to its uncertainty."""
    halves: tuple[tuple[Half, dict[ErrorKind, Value], list[dict[ErrorKind, Value]]], ...] = (
        ("replay", mine.replay, [o.replay for o in others]),
        ("recording", recording(mine), [recording(o) for o in others]),
    )
    found: list[tuple[float, Half, ErrorKind, Value]] = []
    for half, errors, theirs in halves:
        for kind, value in errors.items():
            those = [t[kind] for t in theirs if kind in t]
            if not those:
                continue
            of_others = math.hypot(*(v.uncertainty for v in those)) / len(those)
            distance = value - Value(mean(v.value for v in those), of_others)
            if distance.uncertainty > 0:
                found.append((abs(distance.value) / distance.uncertainty, half, kind, distance))
    if not found:
        return "replay", None, None, 1.0
    ratio, half, kind, distance = max(found, key=lambda f: f[0])
    return half, kind, distance, min(1.0, len(found) * math.erfc(math.sqrt(2) * ratio))
