"""A tape machine in its own process, between two sound devices, for tests with real sound.

It replays its input, as a recorder with three heads does, or a reference tape. Lines on stdin turn its screws while
it runs; each is answered by a line on stdout:

    set NAME VALUE      gain_db, left_db, right_db, delay, skew (frames, right late), taps, noise_db, speed_percent
    tape [[HZ, DBFS, SECONDS], …]   play a reference tape from its start; HZ 0 is a gap
    eject               return to replaying the input
"""

from __future__ import annotations

import json
import os
import sys
import time
from typing import Any

import numpy as np
import sounddevice as sd
from numpy.typing import NDArray

RATE = 48000
BLOCK = 960


class Machine:
    """The processing between input and output."""

    def __init__(self) -> None:
        self.screws: dict[str, float] = {
            "gain_db": 0.0,
            "left_db": 0.0,
            "right_db": 0.0,
            "delay": 0.0,
            "skew": 0.0,
            "taps": 1.0,
            "noise_db": -400.0,
            "speed_percent": 0.0,
        }
        self._fed = np.zeros((4 * RATE, 2))
        self._at = 0
        self._tail = np.zeros((512, 2))
        self._hiss = np.random.default_rng(7)
        self._tape: NDArray[np.float64] | None = None
        self._tape_at = 0

    def play(self, tones: list[tuple[float, float, float]]) -> None:
        speed = 1.0 + self.screws["speed_percent"] / 100.0
        parts = []
        for hz, dbfs, seconds in tones:
            t = np.arange(round(seconds / speed * RATE)) / RATE
            level = 10.0 ** (dbfs / 20.0) if hz else 0.0
            parts.append(level * np.sin(2.0 * np.pi * hz * speed * t))
        self._tape, self._tape_at = np.concatenate([*parts, np.zeros(RATE)]), 0

    def eject(self) -> None:
        self._tape = None

    def work(self, fed: NDArray[Any], out: NDArray[Any]) -> None:
        q = dict(self.screws)
        n = len(fed)
        self._fed[(self._at + np.arange(n)) % len(self._fed)] = fed
        y = np.stack([self._replayed(n, q["delay"], 0), self._replayed(n, q["delay"] + q["skew"], 1)], 1)
        self._at += n
        self._tape_at += n
        taps = int(q["taps"])
        before, self._tail = self._tail, np.concatenate([self._tail, y])[-512:]
        if taps > 1:  # treble loss: a moving average
            z = np.concatenate([before[-(taps - 1) :], y])
            y = np.stack([np.convolve(z[:, c], np.full(taps, 1.0 / taps), "valid") for c in (0, 1)], 1)
        gain = 10.0 ** ((q["gain_db"] + np.array([q["left_db"], q["right_db"]])) / 20.0)
        out[:] = y * gain + self._hiss.normal(0.0, 10.0 ** (q["noise_db"] / 20.0), y.shape)

    def _replayed(self, n: int, late: float, channel: int) -> NDArray[np.float64]:
        if self._tape is None:
            return np.asarray(self._fed[(self._at - int(late) + np.arange(n)) % len(self._fed), channel])
        at = self._tape_at - int(late) + np.arange(n)
        return np.where((at >= 0) & (at < len(self._tape)), self._tape[np.clip(at, 0, len(self._tape) - 1)], 0.0)


def main() -> None:
    machine = Machine()

    def callback(fed: Any, out: Any, frames: int, times: Any, status: Any) -> None:
        if status:
            print("dropout:", status, file=sys.stderr, flush=True)
        machine.work(fed, out)

    with sd.Stream(
        device=("deck_in", "deck_out"),
        samplerate=RATE,
        channels=2,
        dtype="float32",
        blocksize=BLOCK,
        latency=0.1,
        callback=callback,
        finished_callback=lambda: os._exit(3),
    ):
        time.sleep(0.3)
        print("ready", flush=True)
        for line in sys.stdin:
            word, _, rest = line.strip().partition(" ")
            if word == "set":
                name, value = rest.split()
                machine.screws[name] = float(value)
            elif word == "tape":
                machine.play(json.loads(rest))
            else:
                machine.eject()
            print("ok", flush=True)
        os._exit(0)


if __name__ == "__main__":
    main()
