"""The odd one out of a fleet: the machine without which tapes would be exchanged best.

Every pair's errors are told in units of what is accepted of each (common practice, no source); the spread is their
root mean square over all pairs. The odd one is the machine whose removal shrinks the spread most. Whether that is more
than chance is told by its farthest trait: its distance d from the mean of the others, with the expanded uncertainty U
of that, has by the readings' uncertainty alone the probability erfc(√2 d/U), times the number of traits looked at
(Bonferroni), for one of many is far off by luck.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import mean
from typing import Literal

from bench.session.compare.machine_errors import Trait, Traits, Value, What

ACCEPTED: dict[What, float] = {"level": 0.5, "response": 2.0, "azimuth": 10.0, "speed": 0.5}
"""dB, dB, µs, %: what is accepted of each (common practice, no source)."""
CHANCE = 0.05
"""Less likely than this by uncertainty alone is no chance."""
Half = Literal["replay", "recording"]


@dataclass(frozen=True, slots=True)
class Odd:
    """Which machine it is, or why that can't be told."""

    machines: tuple[str, ...]
    """Among which."""
    machine: str
    """"" where none is, or it can't be told."""
    because: str
    """Why there is none; "" where there is one."""
    spread: float = 0.0
    """Of the whole group, in units of what is accepted."""
    without: float = 0.0
    """Of the group without it."""
    half: Half = "replay"
    trait: Trait | None = None
    """What is farthest off in it."""
    distance: Value | None = None
    """That, from the mean of the others."""
    chance: float = 1.0
    """How likely the readings' uncertainty alone makes some trait lie so far off."""


def odd_one_out(machines: Sequence[Traits]) -> Odd:
    """Look for it among machines that can exchange tapes."""
    names = tuple(m.machine for m in machines)
    if len(machines) < 3:
        return Odd(names, "", "of two machines it can't be told which one is off: it takes three")
    whole = spread(machines)
    if whole is None:
        return Odd(names, "", "not enough was read of them")
    rest = {}
    for machine in machines:
        others = spread([m for m in machines if m is not machine])
        if others is not None:
            rest[machine.machine] = others
    if not rest:
        return Odd(names, "", "not enough was read of them")
    name = min(rest, key=lambda n: rest[n])
    mine = next(m for m in machines if m.machine == name)
    half, trait, distance, chance = _farthest(mine, [m for m in machines if m.machine != name])
    told = Odd(names, name, "", whole, rest[name], half, trait, distance, chance)
    if trait is None or chance >= CHANCE:
        why = "none stands farther from the others than the readings' uncertainty explains"
        return Odd(names, "", why, whole, rest[name], half, trait, distance, chance)
    return told


def spread(machines: Sequence[Traits]) -> float | None:
    """Root mean square of all pairs' errors, in units of what is accepted; None where nothing was read of any pair.

    Level, response, azimuth and speed count alike, however many tones were read of each.
    """
    squares: dict[What, list[float]] = {}
    for a in machines:
        left = recording(a)
        for b in machines:
            if a is b:
                continue
            for trait, value in left.items():
                if trait in b.replay:
                    error = value.value + b.replay[trait].value
                    squares.setdefault(trait.what, []).append((error / ACCEPTED[trait.what]) ** 2)
    return math.sqrt(sum(map(mean, squares.values())) / len(squares)) if squares else None


def recording(machine: Traits) -> dict[Trait, Value]:
    """What a machine's recording leaves on the tape: its record-to-replay less its replay."""
    return {t: v - machine.replay[t] for t, v in machine.own.items() if t in machine.replay}


def _farthest(mine: Traits, others: Sequence[Traits]) -> tuple[Half, Trait | None, Value | None, float]:
    """The trait of a machine that lies farthest from the others, by its uncertainty."""
    halves: tuple[tuple[Half, dict[Trait, Value], list[dict[Trait, Value]]], ...] = (
        ("replay", mine.replay, [o.replay for o in others]),
        ("recording", recording(mine), [recording(o) for o in others]),
    )
    found: list[tuple[float, Half, Trait, Value]] = []
    for half, traits, theirs in halves:
        for trait, value in traits.items():
            those = [t[trait] for t in theirs if trait in t]
            if not those:
                continue
            of_others = math.hypot(*(v.uncertainty for v in those)) / len(those)
            distance = value - Value(mean(v.value for v in those), of_others)
            if distance.uncertainty > 0:
                found.append((abs(distance.value) / distance.uncertainty, half, trait, distance))
    if not found:
        return "replay", None, None, 1.0
    ratio, half, trait, distance = max(found, key=lambda f: f[0])
    return half, trait, distance, min(1.0, len(found) * math.erfc(math.sqrt(2) * ratio))
