"""Before and after: a short passage of a transfer, undecoded and decoded, and both average spectra."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from bench.arrays import Floats
from bench.figures import hertz, number
from bench.problem import Problem

PASSAGE_S = 10.0
BEFORE, AFTER = "○", "●"
WIDTH = 41
"""Columns of the plot."""


class Passage:
    """Keeps a stretch of a stream of sound.

    Args:
        start: its first frame.
        frames: its length.
    """

    def __init__(self, start: int, frames: int) -> None:
        self._start, self._end = start, start + frames
        self._at = 0
        self._kept: list[Floats] = []

    def feed(self, samples: Floats) -> None:
        """Take in the next frames."""
        first, last = self._start - self._at, self._end - self._at
        if last > 0 and first < len(samples):
            self._kept.append(samples[max(0, first) : last].copy())
        self._at += len(samples)

    @property
    def samples(self) -> Floats:
        """The samples that were kept, shape (frames, channels)."""
        return np.concatenate(self._kept) if self._kept else np.zeros((0, 2))


def passage_start(wanted: float | None, duration_s: float) -> float:
    """Start of the passage, s: `wanted`, or so that the passage is in the middle.

    Raises:
        Problem: `wanted` is not inside the capture.
    """
    if wanted is None:
        return max(0.0, duration_s / 2 - PASSAGE_S / 2)
    if not 0 <= wanted < duration_s:
        raise Problem(f"--before-after {wanted:g}: the capture is {duration_s:.1f} s long; name a second inside it")
    return wanted


def names_beside(out: Path) -> tuple[Path, Path]:
    """The files of the passage: OUT.before.flac and OUT.after.flac."""
    before, after = (out.with_name(f"{out.stem}.{when}{out.suffix}") for when in ("before", "after"))
    return before, after


def spectrum_lines(before: Mapping[float, float], after: Mapping[float, float]) -> list[str]:
    """Both spectra, a line for each third octave, with a plot of two signs on one scale."""
    bands = [hz for hz in before if hz in after]
    if not bands:
        return []
    every = [db for hz in bands for db in (before[hz], after[hz])]
    top = 10 * float(np.ceil(max(every) / 10))
    span = max(10.0, 10 * float(np.ceil((top - min(every)) / 10)))

    def column(db: float) -> int:
        return round((db - top + span) / span * (WIDTH - 1))

    scale = f"{number(top - span, 0)} dBFS"
    out = [
        f"average spectrum in third octaves, dBFS: {BEFORE} as transferred, {AFTER} decoded",
        f"{'':9}{BEFORE:>8}{AFTER:>8}  {scale}{number(top, 0):>{WIDTH - len(scale)}}",
    ]
    for hz in bands:
        cells = [" "] * WIDTH
        cells[column(before[hz])] = BEFORE
        cells[column(after[hz])] = AFTER
        figures = "".join(f"{number(db, 1):>8}" for db in (before[hz], after[hz]))
        out.append(f"{hertz(hz):>9}{figures}  {''.join(cells)}".rstrip())
    return out
