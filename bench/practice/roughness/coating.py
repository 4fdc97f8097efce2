"""Properties that are fixed to the tape: dropouts, and slow wander of the coating's level."""

from __future__ import annotations

import numpy as np

from bench.arrays import Floats
from bench.practice.filters import RATE

SHORTEST_S, MEDIAN_S, LONGEST_S = 0.002, 0.012, 0.2
DEPTHS_DB = (2.0, 25.0)
"""At 10 kHz; a dropout is a spacing, so its loss in dB is proportional to frequency."""
MINUTE = 60 * RATE


class Dropouts:
    """Short losses of contact with sloping sides, fixed to the tape, or in time if the machine causes them.

    Lengths are log-normal, depths at 10 kHz mostly small; one channel loses more than the other. Common practice, no
    source.
    """

    def __init__(self, per_minute: float, seed: int) -> None:
        self._rate, self._seed = per_minute, seed
        self._minutes: dict[int, Floats] = {}

    def _minute(self, minute: int) -> Floats:
        """Rows of start, end and deepest point (samples), and the loss of each channel at 10 kHz, dB."""
        if minute not in self._minutes:
            rng = np.random.default_rng([self._seed, minute])
            count = rng.poisson(self._rate)
            start = (minute + rng.uniform(0, 1, count)) * MINUTE
            length = np.clip(MEDIAN_S * np.exp(rng.standard_normal(count)), SHORTEST_S, LONGEST_S) * RATE
            deepest = start + rng.uniform(0.2, 0.8, count) * length
            lost = DEPTHS_DB[0] + (DEPTHS_DB[1] - DEPTHS_DB[0]) * rng.uniform(0, 1, count) ** 2
            one_side = rng.uniform(0, 1, count)
            left, right = lost * np.minimum(1, 2 * one_side), lost * np.minimum(1, 2 - 2 * one_side)
            self._minutes[minute] = np.stack((start, start + length, deepest, left, right), axis=1)
        return self._minutes[minute]

    def loss_db(self, positions: Floats) -> Floats | None:
        """Loss at 10 kHz at these positions (samples, rising), dB, shape (2, n); None if there is none."""
        if self._rate <= 0 or positions[0] < 0:
            return None
        lost = None
        for minute in {int(positions[0] / MINUTE), int(positions[-1] / MINUTE)}:
            rows = self._minute(minute)
            for start, end, deepest, left, right in rows[(rows[:, 0] < positions[-1]) & (rows[:, 1] > positions[0])]:
                side = np.where(positions < deepest, deepest - start, end - deepest)
                near = np.clip(1 - np.abs(positions - deepest) / side, 0, 1)
                lost = np.zeros((2, positions.size)) if lost is None else lost
                lost += np.array([[left], [right]]) * np.sin(0.5 * np.pi * near) ** 2
        return lost


class CoatingWander:
    """Slow wander of a coating's level along each track, 0.01 to 0.2 Hz at tape speed, unit variance.

    Args:
        seconds: playing time of the tape.
        seed: random seed of the tape.
    """

    def __init__(self, seconds: float, seed: int) -> None:
        rng = np.random.default_rng([seed, 0xC0A7])
        count = int(seconds) + 2
        self._course = np.zeros((2, count))
        for corner_hz in (0.02, 0.08):
            keep = np.exp(-2 * np.pi * corner_hz)
            state = rng.standard_normal(3)
            for n in range(count):
                self._course[:, n] += 0.5 * (state[:2] + state[2])
                state = keep * state + np.sqrt(1 - keep**2) * rng.standard_normal(3)

    def at(self, position: float) -> Floats:
        """The level of each track at a position (samples)."""
        second = max(0.0, position / RATE) % (self._course.shape[1] - 1)
        before = int(second)
        part = second - before
        return np.asarray((1 - part) * self._course[:, before] + part * self._course[:, before + 1])


class Coating:
    """The coating of one tape.

    Args:
        dropouts_per_minute: rate of its dropouts.
        seconds: its playing time.
        seed: random seed of the tape.
    """

    def __init__(self, dropouts_per_minute: float, seconds: float, seed: int) -> None:
        self.dropouts = Dropouts(dropouts_per_minute, seed)
        self.wander = CoatingWander(seconds, seed)
