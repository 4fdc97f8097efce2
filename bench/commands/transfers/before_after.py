"""Before and after: a short passage of a transfer as it came and as it was decoded, and both average spectra."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bench.problem import Problem
from bench.words.figures import hertz, number

Floats = NDArray[np.float64]

PASSAGE_S = 10.0
BEFORE, AFTER = "○", "●"
WIDTH = 41
"""Columns of the plot."""


class Passage:
    """Keeps a stretch of a sound that goes by.

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
        """What was kept, shape (frames, channels)."""
        return np.concatenate(self._kept) if self._kept else np.zeros((0, 2))


def passage_start(wanted: float | None, duration_s: float) -> float:
    """Where the passage begins: where it is wanted, or so that it lies in the middle.

    Raises:
        Problem: that is not inside the capture.
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


class _Switched:
    """A passage that repeats, as it came or decoded, whichever is chosen: a source."""

    frames = None
    description = "a passage of the transfer"

    def __init__(self, before: Floats, after: Floats) -> None:
        length = min(len(before), len(after))
        self._both = [np.broadcast_to(s[:length], (length, 2)) for s in (before, after)]
        self.decoded = False

    def render(self, start: int, frames: int) -> Floats:
        """Samples of the one that is chosen."""
        sound = self._both[self.decoded]
        return sound[np.arange(start, start + frames) % len(sound)]


def listen(before: Floats, after: Floats, rate: int, keys: Iterator[str]) -> None:
    """Play the passage again and again; each line typed changes between before and after, q ends.

    Raises:
        Problem: there is no sound device.
    """
    from bench.audio.live import LivePort

    sound, over = _Switched(before, after), threading.Event()
    port = LivePort(sample_rate=rate)
    port.open()

    def play() -> None:
        port.send(sound)
        while not over.is_set():
            port.read(0.1)
        port.close()

    player = threading.Thread(target=play)
    player.start()
    try:
        print("Loudspeakers down first. It plays as transferred: enter changes to decoded and back, q then enter ends.")
        for key in keys:
            if key.strip().lower() == "q":
                break
            sound.decoded = not sound.decoded
            print("decoded" if sound.decoded else "as transferred")
    finally:
        over.set()
        player.join()


class Progress:
    """How far a long file is, with the time left, on a terminal only.

    Args:
        what: is done: "decoding".
        seconds: of sound in all.
        now: a clock, s.
    """

    EVERY_S = 1.0

    def __init__(self, what: str, seconds: float, now: float) -> None:
        self._what, self._seconds, self._began, self._next = what, seconds, now, now + self.EVERY_S
        self._shown = False

    def at(self, done_s: float, now: float) -> str:
        """The line to show now; "" for none yet.

        Args:
            done_s: seconds of sound that are done.
            now: the clock.
        """
        if now < self._next or not done_s > 0:
            return ""
        self._next = now + self.EVERY_S
        share = min(1.0, done_s / self._seconds)
        left_s = (now - self._began) * (1 / share - 1)
        return f"{self._what}: {100 * share:.0f} %, {left_s // 60:.0f}:{left_s % 60:02.0f} left"

    def show(self, done_s: float, now: float) -> None:
        """Write that line over the last one."""
        said = self.at(done_s, now)
        if said and sys.stderr.isatty():
            print(f"\r{said:<40}", end="", file=sys.stderr, flush=True)
            self._shown = True

    def end(self) -> None:
        """Clear it."""
        if self._shown:
            print(f"\r{'':40}\r", end="", file=sys.stderr, flush=True)
