"""The tape's position at each sample: speed error, wow and flutter, and weave of the tape path."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.practice.filters import CHUNK, RATE
from bench.practice.physics import MachinePhysics
from bench.tape.geometry import rotation_rate_hz

Floats = NDArray[np.float64]

_STEP = 32
_KNOTS = np.arange(0, CHUNK + 1, _STEP)
_MOMENTS = np.arange(CHUNK)


class Transport:
    """A capstan drive. Positions are samples at the correct speed; its parts keep turning while the tape is stopped."""

    def __init__(self, physics: MachinePhysics, speed_mm_s: float, seed: int) -> None:
        rng = np.random.default_rng([seed, 0x3A9])
        rates = [
            rotation_rate_hz(physics.capstan_mm, speed_mm_s),
            rotation_rate_hz(physics.pinch_roller_mm, speed_mm_s),
            rotation_rate_hz(physics.reel_mm, speed_mm_s),
            # The belt moves at the speed of the flywheel's rim and comes round once in its length.
            speed_mm_s / physics.capstan_mm * physics.flywheel_mm / physics.belt_mm,
        ]
        rates.append(0.02)
        self._rates = np.concatenate((rates, np.geomspace(8, 60, 6) * rng.uniform(0.9, 1.1, 6)))
        self._phases = rng.uniform(0, 2 * np.pi, self._rates.size)
        self._weave_rates = np.array([0.13, 0.41, 1.1]) * rng.uniform(0.8, 1.2, 3)
        self._weave_phases = rng.uniform(0, 2 * np.pi, 3)
        self.position = 0.0

    def advance(self, physics: MachinePhysics, chunk: int, speed_percent: float) -> Floats:
        """Move the tape for a chunk; its positions at each sample and one after the last."""
        seconds = (chunk * CHUNK + _KNOTS) / RATE
        depths = np.array(
            [
                physics.flutter_capstan_percent,
                physics.flutter_pinch_roller_percent,
                physics.flutter_reel_percent,
                physics.flutter_belt_percent,
                physics.speed_wander_percent,
                *[physics.flutter_random_percent / 6] * 6,
            ]
        )
        turns = 2 * np.pi * np.outer(seconds, self._rates) + self._phases
        knots = 1 + (speed_percent + np.sin(turns) @ depths) / 100
        speed = np.interp(_MOMENTS, _KNOTS, knots)
        positions = self.position + np.concatenate(([0.0], np.cumsum(speed)))
        self.position = float(positions[-1])
        return positions

    def weave(self, physics: MachinePhysics, chunk: int) -> float:
        """Angle of the tape path at the start of a chunk, minutes of arc."""
        turns = 2 * np.pi * self._weave_rates * (chunk * CHUNK / RATE) + self._weave_phases
        return float(physics.azimuth_weave_arcmin * np.sin(turns).mean())
