"""Plays a passage, with one key to switch between before and after."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import numpy as np

from bench.arrays import Floats


class _Switched:
    """A source that repeats a passage, undecoded or decoded as chosen."""

    frames = None
    description = "a passage of the transfer"

    def __init__(self, before: Floats, after: Floats) -> None:
        length = min(len(before), len(after))
        self._both = [np.broadcast_to(s[:length], (length, 2)) for s in (before, after)]
        self.decoded = False

    def render(self, start: int, frames: int) -> Floats:
        """Samples of the chosen version."""
        sound = self._both[self.decoded]
        return sound[np.arange(start, start + frames) % len(sound)]


def listen(before: Floats, after: Floats, rate: int, keys: Iterator[str]) -> None:
    """Repeat the passage; each typed line switches between before and after, q ends.

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
