"""Dropouts: where the tape is lifted off the head, or has lost its coating."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Hole:
    """One dropout."""

    at_s: float
    """Time of its middle."""
    length_s: float
    """Length at half its depth."""
    depth_db: tuple[float, float]
    """Depth at 10 kHz, in each channel."""
    spacing: bool
    """Whether the tape is lifted, so that the depth is proportional to frequency (54.6 d/λ dB, Wallace 1951)."""
    shape: str

    def loss_db(self, t: Floats, channel: int, hz: float) -> Floats:
        """Loss for a tone of this frequency at these times."""
        depth = self.depth_db[channel] * (min(hz / 10000.0, 3.0) if self.spacing else 1.0)
        x = np.abs(t - self.at_s) / (0.5 * self.length_s)
        if self.shape == "bell":
            return np.asarray(depth * np.exp(-np.log(2.0) * x**2))
        if self.shape == "trough":
            return np.asarray(depth * np.clip(1.5 - 0.5 * np.maximum(x, 1.0) ** 2, 0.0, 1.0) * (x < 1.732))
        if self.shape == "tent":
            return np.asarray(depth * np.clip(1.0 - 0.5 * x, 0.0, 1.0))
        late = (t - self.at_s) / self.length_s + 0.3
        sudden = np.where(late < 0.0, np.clip(1.0 + 8.0 * late, 0.0, 1.0), np.exp(-np.maximum(late, 0.0) / 0.9))
        return np.asarray(depth * sudden)


def drawn(rng: np.random.Generator, seconds: float, a_minute: float) -> list[Hole]:
    """The dropouts of a stretch of tape: Poisson in time, 2 to 25 dB at 10 kHz, 2 to 200 ms (log-normal)."""
    out = []
    for _ in range(rng.poisson(a_minute * seconds / 60.0)):
        deep = float(np.exp(rng.uniform(np.log(2.0), np.log(25.0))))
        other = deep * rng.uniform(0.0, 0.8)
        out.append(
            Hole(
                rng.uniform(0.0, seconds),
                float(np.clip(0.012 * np.exp(1.0 * rng.standard_normal()), 0.002, 0.2)),
                (deep, other) if rng.random() < 0.5 else (other, deep),
                bool(rng.random() < 0.85),
                str(rng.choice(["bell", "trough", "tent", "sudden"])),
            )
        )
    return out
