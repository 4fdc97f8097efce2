"""Plays the audible guide on the private sound server and listens to its output; prints one JSON object."""

from __future__ import annotations

import json
import time

import numpy as np
from numpy.typing import NDArray

from bench.audio.guide import open_guide
from bench.audio.live import LivePort
from bench.problem import Problem

RATE = 48000


def hear(port: LivePort, seconds: float) -> NDArray[np.float64]:
    blocks: list[NDArray[np.float64]] = []
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        block = port.read(0.1)
        if block is not None:
            blocks.append(block.samples[:, 0])
    return np.concatenate(blocks)


def dbfs(samples: NDArray[np.float64]) -> float:
    return float(20.0 * np.log10(np.abs(samples).max() + 1e-9))


if __name__ == "__main__":
    port = LivePort()
    port.open()
    guide = open_guide(())
    guide.show(0.0)
    hear(port, 0.5)
    heard = hear(port, 1.5)
    guide.close()
    hear(port, 0.5)
    silent = hear(port, 0.5)
    power = np.abs(np.fft.rfft(heard * np.hanning(len(heard)))) ** 2
    try:
        refused = f"sounds on {open_guide(port.connected).name}"
    except Problem as problem:
        refused = problem.sentence
    port.close()
    hz = float(np.argmax(power) * RATE / len(heard))
    print(json.dumps({"hz": hz, "peak_dbfs": dbfs(heard), "silent_dbfs": dbfs(silent), "beside_the_machine": refused}))
