"""What the tests of the live port do where the private sound is: each function in a process of its own.

python live_work.py FUNCTION [ARGUMENT…]    prints one JSON object
"""

from __future__ import annotations

import json
import sys
import time
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bench.audio.live import LivePort
from bench.audio.port import Block
from bench.problem import Problem

RATE = 48000


class Noise:
    """Ten seconds of values that float32 holds exactly: every frame is its own."""

    says = "noise"

    def __init__(self, seconds: float) -> None:
        rng = np.random.default_rng(3)
        self.samples = rng.uniform(-0.5, 0.5, (round(seconds * RATE), 2)).astype(np.float32).astype(np.float64)

    @property
    def frames(self) -> int | None:
        return len(self.samples)

    def render(self, start: int, frames: int) -> NDArray[np.float64]:
        out = np.zeros((frames, 2))
        part = self.samples[start : start + frames]
        out[: len(part)] = part
        return out


def hear(port: LivePort, seconds: float) -> list[Block]:
    """Blocks for so long, or until there are none for a second."""
    blocks: list[Block] = []
    have, wanted, quiet_since = 0, seconds * RATE, time.monotonic()
    while have < wanted and time.monotonic() - quiet_since < 1.0:
        block = port.read(0.1)
        if block is not None:
            blocks.append(block)
            have += len(block.samples)
            quiet_since = time.monotonic()
    return blocks


def loop(seconds: str) -> dict[str, Any]:
    """Send noise and compare what comes back frame by frame, sleeping now and then as a slow disk would."""
    noise = Noise(float(seconds))
    port = LivePort()
    port.open()
    begins = port.send(noise)
    time.sleep(3.0)
    backlog_s = port.status.backlog_s
    blocks = hear(port, float(seconds) + 1.0)
    status = port.status
    port.close()
    heard = np.concatenate([b.samples for b in blocks])
    steady = noise.samples[RATE // 10 :]  # past the fade in
    first = int(np.argmax((heard[:, 0] == steady[0, 0]) & (heard[:, 1] == steady[0, 1])))
    same = heard[first : first + len(steady)]
    return {
        "frames": len(same),
        "wrong_frames": int(np.sum(np.any(same != steady[: len(same)], axis=1))),
        "found_at": blocks[0].start + first - RATE // 10,
        "begins": begins,
        "backlog_s": backlog_s,
        "gaps": sum(a.start + len(a.samples) != b.start for a, b in zip(blocks, blocks[1:], strict=False)),
        "lost": sum(b.lost for b in blocks),
        "overflows": status.overflows,
        "underflows": status.underflows,
        "closed": port.status.state,
    }


def main() -> None:
    try:
        out = globals()[sys.argv[1]](*sys.argv[2:])
    except Problem as problem:
        out = {"problem": problem.sentence}
    print(json.dumps(out))


if __name__ == "__main__":
    main()
