"""Detects automatic gain control in a capture: the noise swells in every pause and drops at every tone.

A recorder's noise is as strong after a tone as before it. Automatic gain control turns the gain down while a tone
sounds, so the noise after it starts low and rises during the pause. Common practice, no source.
"""

from __future__ import annotations

import numpy as np

from bench.arrays import Floats

HOP_S = 0.1
"""Whole cycles of 50 and 60 Hz, so that every hop contains the same hum power."""
QUIET_DB, NEAR_S = 22.0, 1.5
"""A pause is this far below the loudest hop within this time of it, which excludes gaps in speech and the tones of
another section."""
LONGEST_S = 2.0
"""The gain has settled after this time."""
SUDDEN_DB, STEP_DB, DIGITAL_SILENCE_DB = 10.0, 3.0, -110.0
"""The sound that ends a pause rises by the first within two hops; a change of more than the second in one hop is not
gain control; below the third there is no noise to judge by."""
SHORTEST_S = 0.3
"""Least total length of the pauses."""
RISES_DB_S, TYPICAL_DB_S, SWING_DB = 0.75, 1.0, 5.0
"""Tape noise does not rise faster than the first in most pauses and the second in half of them, nor vary by the third
between pauses."""
RISING = 0.7
"""Least fraction of the pauses, by length, in which the noise must rise."""


class GainWatch:
    """Tracks the power of a stream; accepts blocks of any length.

    Args:
        sample_rate: frames per second.
    """

    def __init__(self, sample_rate: float) -> None:
        self._hop = round(HOP_S * sample_rate)
        self._rest = np.zeros(0)
        self._powers: list[Floats] = []

    def feed(self, mono: Floats) -> None:
        """Process the sum of the channels, shape (frames,)."""
        joined = np.concatenate([self._rest, mono])
        if len(joined) >= self._hop:
            hops = joined[: len(joined) // self._hop * self._hop].reshape(-1, self._hop)
            self._powers.append(hops.var(axis=1))
            joined = joined[hops.size :]
        self._rest = joined

    def swing_db(self) -> float | None:
        """Range of the noise level over the pauses, dB; None if there is no sign of automatic gain control."""
        level = 10.0 * np.log10(np.concatenate(self._powers or [np.zeros(0)]) + 1e-16)
        lead, pauses = _pauses(level)
        seconds = np.array([HOP_S * len(p) for p in pauses])
        if seconds.sum() < SHORTEST_S or len(pauses) + bool(len(lead)) < 2:
            return None
        if len(lead) and min(float(p.min()) for p in pauses) > lead.min() - SWING_DB:
            return None  # automatic gain would be at its highest before the first sound
        slopes = np.array([np.polyfit(np.arange(len(p)) * HOP_S, p, 1)[0] for p in pauses])
        swing = float(np.ptp(np.concatenate([lead, *pauses])))
        rising = float(seconds[slopes > RISES_DB_S].sum() / seconds.sum())
        return swing if swing > SWING_DB and rising > RISING and float(np.median(slopes)) > TYPICAL_DB_S else None


def automatic_gain_warning(swing_db: float) -> str:
    """The warning for a capture with automatic gain control."""
    return (
        f"an automatic gain is in the way: the noise of the pauses differs by {swing_db:.0f} dB; switch it off in the "
        "recorder or the computer and capture again"
    )


def _pauses(level: Floats) -> tuple[Floats, list[Floats]]:
    """Levels of the pauses: the last few hops before the first sound, and each stretch after a sound.

    Hops that contain the end of one sound or the start of the next are excluded.
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
    # A pause ends with a sudden sound; the slow start of a rising tone is not a pause.
    inner = [(a, b) for a, b in inner if b + 2 >= len(level) or level[b + 2] - level[b - 1] > SUDDEN_DB]
    longest = round(LONGEST_S / HOP_S)
    # Gain control makes no steps; a step is the splice to another stretch of tape.
    steps = 1 + np.flatnonzero(np.abs(np.diff(level)) > STEP_DB)
    pauses = [
        p for a, b in inner for p in np.split(level[a : min(b, a + longest)], steps[(steps > a) & (steps < b)] - a)
    ]
    return lead, [p for p in pauses if len(p) > 1 and p.min() > DIGITAL_SILENCE_DB]
