"""Trimmers that behave like real ones: with either direction, individual slopes, backlash and end stops."""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass

import numpy as np

from bench.practice.facts import MachineFacts, TrimmerPosition
from bench.practice.physics import MachinePhysics

STOP_DEGREES = 150.0
MARGIN_DEGREES = 20.0
"""Least distance of the correct setting from the stops."""
BIAS_MARGIN_DB = 7.0
"""Bias can be set at least this far below the correct value: below the 10 kHz peak of every machine, where the
over-bias adjustment begins."""


class Trimmer:
    """One trimmer. `error` is the error of the quantity that it sets, in the unit of `per_degree`.

    Args:
        name: as in the machine's sheet.
        degrees: its position from the centre.
        per_degree: change of the error per degree clockwise, with its sign.
        backlash: degrees lost when the direction of turning is reversed.
        error: the error at this position.
        settling_s: time constant with which it settles after a turn; 0 settles at once.
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
        """Let time pass."""
        if self._wiper != self._at_rest:
            self._wiper += (self._at_rest - self._wiper) * -math.expm1(-seconds / self.settling_s)
            if abs(self._wiper - self._at_rest) < 1e-3:
                self._wiper = self._at_rest

    @property
    def error(self) -> float:
        """The error of the quantity that it sets; 0 is correct."""
        return self._offset + self.per_degree * self._wiper

    def shift(self, change: float) -> None:
        """Add to the error: a fault appeared or was repaired."""
        self._offset += change

    def to_error(self, error: float) -> None:
        """Turn it until its error has this value, or to the stop."""
        self.turn((error - self.error) / self.per_degree)

    @property
    def position(self) -> TrimmerPosition:
        """Its visible position."""
        return TrimmerPosition(self.name, self.degrees, -STOP_DEGREES, STOP_DEGREES)


@dataclass(frozen=True, slots=True)
class TrimmerKind:
    """Properties of all trimmers of a kind."""

    key: str
    """The machine figure that adds to its error, without channel and unit."""
    spread: float
    """Largest misadjustment, in the unit."""
    per_degree: tuple[float, float]
    """Smallest and largest slope."""
    unit: str
    per_channel: bool = True
    knob: bool = False
    """Whether it is a user control; its fault is an error of its mark."""


TRIMMER_KINDS: dict[str, TrimmerKind] = {
    "replay level": TrimmerKind("replay_level", 6.0, (0.08, 0.16), "db"),
    "replay equalisation": TrimmerKind("replay_equalisation", 3.0, (0.04, 0.08), "db"),
    "replay azimuth": TrimmerKind("replay_azimuth", 10.0, (0.15, 0.3), "arcmin", per_channel=False),
    "speed": TrimmerKind("speed", 1.5, (0.02, 0.04), "percent", per_channel=False),
    "bias": TrimmerKind("bias", 3.0, (0.04, 0.08), "db"),
    "record level": TrimmerKind("record_level", 6.0, (0.08, 0.16), "db"),
    "record equalisation": TrimmerKind("record_equalisation", 3.0, (0.04, 0.08), "db"),
    "record azimuth": TrimmerKind("record_azimuth", 10.0, (0.15, 0.3), "arcmin", per_channel=False),
    "record level control": TrimmerKind("record_control", 3.0, (0.08, 0.16), "db", knob=True),
    "output control": TrimmerKind("output_control", 3.0, (0.08, 0.16), "db", per_channel=False, knob=True),
}


KNOBS = ("record level control left", "record level control right", "output control")
"""Controls that the owner turns; no sheet lists them as trimmers."""
REVERSE_AZIMUTH = "replay azimuth reverse"
"""The azimuth screw for the reverse direction of an auto-reverse deck."""


def trimmers_of(heads: int) -> dict[str, tuple[TrimmerKind, str]]:
    """The trimmers of a machine: name to kind, and to the key of the figure that a fault sets."""
    out: dict[str, tuple[TrimmerKind, str]] = {}
    for title, kind in TRIMMER_KINDS.items():
        if title == "record azimuth" and heads != 3:
            continue
        for side in ("left", "right") if kind.per_channel else ("",):
            name = f"{title} {side}".strip()
            key = "_".join(part for part in (kind.key, side, kind.unit) if part)
            out[name] = (kind, key)
    return out


def draw_for_setting(
    machine: MachineFacts, physics: MachinePhysics, seed: int, misadjustment: float
) -> dict[str, Trimmer]:
    """The trimmers of a machine at one of its settings: shared ones are equal at all settings, its own differ."""
    shared = draw_trimmers(physics, machine.heads, seed, misadjustment)
    if not machine.own_trimmers:
        return shared
    own = draw_trimmers(physics, machine.heads, seed + zlib.crc32(machine.setting.encode()), misadjustment)
    return shared | {name: own[name] for name in machine.own_trimmers if name in own}


def draw_trimmers(physics: MachinePhysics, heads: int, seed: int, misadjustment: float) -> dict[str, Trimmer]:
    """The trimmers of a machine, misadjusted at random.

    Args:
        physics: the machine's figures including faults, so that each trimmer has enough range to correct them.
        heads: 2 or 3.
        seed: random seed of misadjustment, direction, slope, backlash and position.
        misadjustment: 1 for the full spread, 0 for a machine that is correct except for its faults.
    """
    # Separate generators, so that an additional screw does not change the knobs.
    of_trimmers, of_knobs = (np.random.default_rng([seed, which]) for which in (0x7217, 0xC0))
    out: dict[str, Trimmer] = {}
    known = trimmers_of(heads)
    drawn = list(known.items())
    if physics.auto_reverse:
        drawn.append((REVERSE_AZIMUTH, known["replay azimuth"]))
    for name, (kind, key) in drawn:
        rng = of_knobs if kind.knob else of_trimmers
        error = misadjustment * rng.uniform(-kind.spread, kind.spread) + float(getattr(physics, key))
        reach = 2 * (STOP_DEGREES - MARGIN_DEGREES)
        slope = max(rng.uniform(*kind.per_degree), abs(error) / (0.9 * reach)) * rng.choice((-1.0, 1.0))
        to_go = -error / slope
        limit = STOP_DEGREES - MARGIN_DEGREES
        low, high = max(-limit, -limit - to_go), min(limit, limit - to_go)
        if kind.key == "bias":
            # Its distance from the correct setting is unchanged; only the stops move.
            room = BIAS_MARGIN_DB / abs(slope)
            if slope > 0:
                low = min(high, max(low, -STOP_DEGREES + room - to_go))
            else:
                high = max(low, min(high, STOP_DEGREES - room - to_go))
        out[name] = Trimmer(
            name,
            degrees=round(float(rng.uniform(low, high)), 1),
            per_degree=float(slope),
            backlash=0.0 if kind.knob else float(rng.uniform(2.0, 8.0)),
            error=error,
            settling_s=physics.trimmer_settling_s,
        )
    return out
