"""Trimmers that behave like real ones: either sense, their own slope, backlash, end stops."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from bench.practice.physics import MachinePhysics

STOP_DEGREES = 150.0
ROOM_DEGREES = 20.0
"""The right setting lies at least so far inside the stops."""
BIAS_ROOM_DB = 7.0
"""Bias can be set so far below the right one: under the peak of 10 kHz on every machine, where over-bias begins."""


@dataclass(frozen=True, slots=True)
class Position:
    """What hands see of a trimmer, degrees from its middle."""

    name: str
    degrees: float
    low: float
    high: float


class Trimmer:
    """One trimmer. `error` is how far what it sets is from right, in the unit of `per_degree`.

    Args:
        name: as in the machine's sheet.
        degrees: where it stands, from its middle.
        per_degree: change of the error for a degree clockwise, with its sign.
        backlash: degrees that are lost when the sense of turning is reversed.
        error: the error now.
        settling_s: time constant with which it comes to rest; 0 for at once.
    """

    def __init__(
        self, name: str, *, degrees: float, per_degree: float, backlash: float, error: float, settling_s: float = 0.0
    ) -> None:
        self.name = name
        self.degrees = degrees
        self.per_degree = per_degree
        self.backlash = backlash
        self.settling_s = settling_s
        self._wiper = degrees
        self._at_rest = degrees
        self._offset = error - per_degree * degrees

    def turn(self, degrees: float) -> None:
        """Turn, positive clockwise, as far as the stop."""
        self.degrees = min(STOP_DEGREES, max(-STOP_DEGREES, self.degrees + degrees))
        half = self.backlash / 2
        self._at_rest = min(self.degrees + half, max(self.degrees - half, self._at_rest))
        if self.settling_s <= 0:
            self._wiper = self._at_rest

    def settle(self, seconds: float) -> None:
        """Let time go by."""
        if self._wiper != self._at_rest:
            self._wiper += (self._at_rest - self._wiper) * -math.expm1(-seconds / self.settling_s)
            if abs(self._wiper - self._at_rest) < 1e-3:
                self._wiper = self._at_rest

    @property
    def error(self) -> float:
        """How far what it sets is from right."""
        return self._offset + self.per_degree * self._wiper

    def shift(self, change: float) -> None:
        """What it sets has changed by itself: a fault came or was mended."""
        self._offset += change

    def info(self) -> Position:
        """What hands see of it."""
        return Position(self.name, self.degrees, -STOP_DEGREES, STOP_DEGREES)


@dataclass(frozen=True, slots=True)
class Kind:
    """What trimmers of a kind are like."""

    key: str
    """Of the machine's figures: the fault that adds to it, before the unit."""
    spread: float
    """Largest misadjustment, in the unit."""
    per_degree: tuple[float, float]
    """Least and most."""
    unit: str
    per_channel: bool = True


KINDS: dict[str, Kind] = {
    "replay level": Kind("replay_level", 6.0, (0.08, 0.16), "db"),
    "replay equalisation": Kind("replay_equalisation", 3.0, (0.04, 0.08), "db"),
    "replay azimuth": Kind("replay_azimuth", 10.0, (0.15, 0.3), "arcmin", per_channel=False),
    "speed": Kind("speed", 1.5, (0.02, 0.04), "percent", per_channel=False),
    "bias": Kind("bias", 3.0, (0.04, 0.08), "db"),
    "record level": Kind("record_level", 6.0, (0.08, 0.16), "db"),
    "record equalisation": Kind("record_equalisation", 3.0, (0.04, 0.08), "db"),
    "record azimuth": Kind("record_azimuth", 10.0, (0.15, 0.3), "arcmin", per_channel=False),
}


REVERSE = "replay azimuth reverse"
"""The screw that sets azimuth while the tape of an auto-reverse deck runs the other way."""


def names(heads: int) -> dict[str, tuple[Kind, str]]:
    """The trimmers of a machine: name to kind and key of the figure that a fault sets."""
    out: dict[str, tuple[Kind, str]] = {}
    for title, kind in KINDS.items():
        if title == "record azimuth" and heads != 3:
            continue
        for side in ("left", "right") if kind.per_channel else ("",):
            name = f"{title} {side}".strip()
            key = "_".join(part for part in (kind.key, side, kind.unit) if part)
            out[name] = (kind, key)
    return out


def draw(physics: MachinePhysics, heads: int, seed: int, misadjustment: float) -> dict[str, Trimmer]:
    """The trimmers of a machine, misadjusted as the seed has it.

    Args:
        physics: the machine's figures, faults included: what they put wrong is within the trimmer's reach.
        heads: 2 or 3.
        seed: draws misadjustment, sense, slope, backlash and position.
        misadjustment: 1 for the full spread, 0 for a machine that is right but for its faults.
    """
    rng = np.random.default_rng([seed, 0x7217])
    out: dict[str, Trimmer] = {}
    drawn = list(names(heads).items())
    if physics.auto_reverse:
        drawn.append((REVERSE, names(heads)["replay azimuth"]))
    for name, (kind, key) in drawn:
        error = misadjustment * rng.uniform(-kind.spread, kind.spread) + float(getattr(physics, key))
        reach = 2 * (STOP_DEGREES - ROOM_DEGREES)
        slope = max(rng.uniform(*kind.per_degree), abs(error) / (0.9 * reach)) * rng.choice((-1.0, 1.0))
        to_go = -error / slope
        limit = STOP_DEGREES - ROOM_DEGREES
        low, high = max(-limit, -limit - to_go), min(limit, limit - to_go)
        if kind.key == "bias":
            # Where it stands is as far from where it would be right as it was; only the stops lie elsewhere.
            room = BIAS_ROOM_DB / abs(slope)
            if slope > 0:
                low = min(high, max(low, -STOP_DEGREES + room - to_go))
            else:
                high = max(low, min(high, STOP_DEGREES - room - to_go))
        out[name] = Trimmer(
            name,
            degrees=round(float(rng.uniform(low, high)), 1),
            per_degree=float(slope),
            backlash=float(rng.uniform(2.0, 8.0)),
            error=error,
            settling_s=physics.trimmer_settling_s,
        )
    return out
