"""Whether an automatic gain was in the way of a capture: the noise swells in every pause and shrinks at every tone.

A recorder's noise is as strong after a tone as before it. An automatic gain turns itself down while a tone sounds, so
that the noise after it begins low and rises while the pause lasts. Common practice, no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HOP_S = 0.1
"""Whole cycles of 50 and 60 Hz, so that hum is as strong in each."""
QUIET_DB, NEAR_S = 22.0, 1.5
"""A pause is so far below the loudest within so long of it: neither gaps in speech nor tones of another section are."""
LONGEST_S = 2.0
"""After so long the gain is where it stays."""
SUDDEN_DB, STEP_DB, DIGITAL_SILENCE_DB = 10.0, 3.0, -110.0
"""What ends a pause rises by so much in two hops; what changes by more than the second in one is no gain; below the
third there is no noise to tell it by."""
SHORTEST_S = 0.3
"""Of all pauses together."""
RISES_DB_S, TYPICAL_DB_S, SWING_DB = 0.75, 1.0, 5.0
"""The noise of tape does not rise by the first in most pauses and by the second in half of them, nor differ by the
third from pause to pause."""
ALIKE = 0.7
"""The part of the pauses, by their length, that must rise."""


class GainWatch:
    """Watches the power of a stream, fed with blocks of any size.

    Args:
        sample_rate: frames a second.
    """

    def __init__(self, sample_rate: float) -> None:
        self._hop = round(HOP_S * sample_rate)
        self._rest = np.zeros(0)
        self._powers: list[Floats] = []

    def feed(self, mono: Floats) -> None:
        """Take in the sum of the channels, frame by frame."""
        joined = np.concatenate([self._rest, mono])
        count = len(joined) // self._hop
        self._powers.append(joined[: count * self._hop].reshape(count, self._hop).var(axis=1))
        self._rest = joined[count * self._hop :]

    def swing_db(self) -> float | None:
        """By how much the noise of the pauses differs; None where no automatic gain shows."""
        level = 10.0 * np.log10(np.concatenate(self._powers or [np.zeros(0)]) + 1e-16)
        lead, pauses = _pauses(level)
        seconds = np.array([HOP_S * len(p) for p in pauses])
        if seconds.sum() < SHORTEST_S or len(pauses) + bool(len(lead)) < 2:
            return None
        if len(lead) and min(float(p.min()) for p in pauses) > lead.min() - SWING_DB:
            return None  # before the first sound a gain is turned up
        slopes = np.array([np.polyfit(np.arange(len(p)) * HOP_S, p, 1)[0] for p in pauses])
        swing = float(np.ptp(np.concatenate([lead, *pauses])))
        rising = float(seconds[slopes > RISES_DB_S].sum() / seconds.sum())
        return swing if swing > SWING_DB and rising > ALIKE and float(np.median(slopes)) > TYPICAL_DB_S else None


def in_the_way(swing_db: float) -> str:
    """What is said of a capture that has one."""
    return (
        f"an automatic gain is in the way: the noise of the pauses differs by {swing_db:.0f} dB; switch it off in the "
        "recorder or the computer and capture again"
    )


def _pauses(level: Floats) -> tuple[Floats, list[Floats]]:
    """What is far below the sounds: the last of it before the first sound, and each stretch after one.

    The hops that hold the end of a sound or the beginning of the next are left out.
    """
    near = round(NEAR_S / HOP_S)
    if len(level) < 2 * near:
        return np.zeros(0), []
    around = np.lib.stride_tricks.sliding_window_view(np.pad(level, near, mode="edge"), 2 * near + 1).max(axis=1)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (level < around - QUIET_DB).astype(np.int8), [0]])))
    inner = [(int(a) + 1, int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    lead = np.zeros(0)
    if inner and not np.any(level[: inner[0][0]] > level[inner[0][1] :].max() - QUIET_DB):
        _, first_sound = inner.pop(0)
        lead = level[max(0, first_sound - 3) : first_sound]
    # A tone that rises from afar is no pause: what ends one is sudden.
    inner = [(a, b) for a, b in inner if b + 2 >= len(level) or level[b + 2] - level[b - 1] > SUDDEN_DB]
    longest = round(LONGEST_S / HOP_S)
    # Nor does a gain step: what does is another stretch of tape.
    steps = 1 + np.flatnonzero(np.abs(np.diff(level)) > STEP_DB)
    pauses = [
        p for a, b in inner for p in np.split(level[a : min(b, a + longest)], steps[(steps > a) & (steps < b)] - a)
    ]
    return lead, [p for p in pauses if len(p) > 1 and p.min() > DIGITAL_SILENCE_DB]
