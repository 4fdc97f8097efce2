"""Scenarios for the tests of the live port on the private sound server: each function runs in its own process.

python live_scenarios.py FUNCTION [ARGUMENT…]    prints one JSON object
"""

from __future__ import annotations

import contextlib
import io
import itertools
import json
import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bench.audio.live import LivePort
from bench.audio.port import Block
from bench.audio.standard_error import stderr_to_file
from bench.problem import Problem
from bench.signals.tones import SteadyTone, Tone

RATE = 48000


class Noise:
    """Values that float32 represents exactly: no two frames are the same."""

    description = "noise"

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
    """Read blocks for this long, or until none has come for a second."""
    blocks: list[Block] = []
    have, wanted, quiet_since = 0, seconds * RATE, time.monotonic()
    while have < wanted and time.monotonic() - quiet_since < 1.0:
        block = port.read(0.1)
        if block is not None:
            blocks.append(block)
            have += len(block.samples)
            quiet_since = time.monotonic()
    return blocks


def waiting_s(port: LivePort) -> float:
    """Sound in the queue, seconds."""
    return port._incoming.qsize() * 960 / RATE


def loop(seconds: str) -> dict[str, Any]:
    """Send noise, leave the returned sound unread for three seconds, then compare it frame by frame."""
    noise = Noise(float(seconds))
    port = LivePort()
    port.open()
    begins = port.send(noise)
    time.sleep(3.0)
    backlog_s = waiting_s(port)
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
        "gaps": sum(a.start + len(a.samples) != b.start for a, b in itertools.pairwise(blocks)),
        "lost": sum(b.lost for b in blocks),
        "overflows": status.overflows,
        "underflows": status.underflows,
        "closed": port.status.state,
    }


def levels(*tones: str) -> dict[str, Any]:
    """Send each tone (HZ@DBFS) through the deck; the level of each channel that comes back, dBFS."""
    port = LivePort("pulse")
    port.open()
    out = {}
    for text in tones:
        hz, dbfs = (float(part) for part in text.split("@"))
        begins = port.send(SteadyTone(Tone(hz, dbfs), RATE))
        blocks = [b for b in hear(port, 1.1) if b.start >= begins + RATE // 4]
        heard = np.concatenate([b.samples for b in blocks])[: RATE // 2]
        rms = np.sqrt(np.mean(heard**2, axis=0) * 2.0)  # AES17: a full-scale sine is 0 dBFS
        out[text] = (20.0 * np.log10(rms)).tolist()
    status = port.status
    port.close()
    return {"levels": out, "overflows": status.overflows, "underflows": status.underflows}


def taken_away(server: str) -> dict[str, Any]:
    """Kill the server while a tone is sent; then wait until it is restarted, which a line on stdin reports."""
    port = LivePort()
    port.open()
    port.send(SteadyTone(Tone(1000.0, -20.0), RATE))
    before = hear(port, 1.0)
    os.kill(int(server), signal.SIGKILL)
    seen_s = _wait_for(port, "lost")
    detail = port.status.detail
    rest = hear(port, 60.0)
    while_lost = port.reopen()
    out_of_sound = time.monotonic()
    print(json.dumps("lost"), flush=True)
    sys.stdin.readline()
    tries = 0
    while not port.reopen() and tries < 20:
        tries += 1
        time.sleep(0.2)
    gap_s = time.monotonic() - out_of_sound
    after = hear(port, 2.0)
    heard = np.concatenate([b.samples for b in after])[-RATE:]
    last = (before + rest)[-1]
    port.close()
    return {
        "seen_s": seen_s,
        "detail": detail,
        "reopened_while_dead": while_lost,
        "tries": tries,
        "gap_s": gap_s,
        "start_gap_s": (after[0].start - last.start - len(last.samples)) / RATE,
        "lost_s": after[0].lost / RATE,
        "later_lost": sum(b.lost for b in after[1:]),
        "level": float(20.0 * np.log10(np.sqrt(np.mean(heard[:, 0] ** 2) * 2.0))),
        "state": port.status.state,
    }


def frozen(server: str) -> dict[str, Any]:
    """Freeze the server, try to reopen, thaw it, and go on; freeze it again and leave."""
    port = LivePort()
    port.open()
    hear(port, 0.5)
    os.kill(int(server), signal.SIGSTOP)
    seen_s = _wait_for(port, "stalled")
    hear(port, 60.0)
    began = time.monotonic()
    while_frozen = port.reopen()
    first_s = time.monotonic() - began
    began = time.monotonic()
    again = port.reopen()
    second_s = time.monotonic() - began
    os.kill(int(server), signal.SIGCONT)
    back_s = None
    began = time.monotonic()
    while time.monotonic() - began < 20.0:
        if port.reopen():
            back_s = time.monotonic() - began
            break
        time.sleep(0.2)
    after = hear(port, 0.5)
    os.kill(int(server), signal.SIGSTOP)
    began = time.monotonic()
    port.close()
    return {
        "seen_s": seen_s,
        "reopened_while_frozen": [while_frozen, again],
        "first_s": first_s,
        "second_s": second_s,
        "back_s": back_s,
        "frames_after": sum(len(b.samples) for b in after),
        "lost_s": after[0].lost / RATE if after else None,
        "close_s": time.monotonic() - began,
    }


def held_up() -> dict[str, Any]:
    """Stop this process for 0.7 s, while the deck plays 1 Hz with the right channel a quarter period late."""
    port = LivePort()
    port.open()
    blocks = hear(port, 1.0)
    os.system(f"(sleep 0.7; kill -CONT {os.getpid()}) & kill -STOP {os.getpid()}")
    blocks += hear(port, 1.5)
    status = port.status
    port.close()
    heard = np.concatenate([b.samples for b in blocks])
    heard = heard[RATE // 2 :]  # after the quarter period by which the right channel is late
    turns = np.unwrap(np.arctan2(heard[:, 0], -heard[:, 1])) / (2.0 * np.pi)
    return {
        "underflows": status.underflows,
        "overflows": status.overflows,
        "jumps": sum(b.start - a.start - len(a.samples) for a, b in itertools.pairwise(blocks)),
        "lost": sum(b.lost for b in blocks),
        "steps": [float(np.diff(turns).min() * RATE), float(np.diff(turns).max() * RATE)],
    }


def full_queue() -> dict[str, Any]:
    """Read nothing for longer than the queue can hold; the queue is made small to save time."""
    port = LivePort()
    port._queue_limit = 25
    port.open()
    time.sleep(1.0)
    status, backlog_s = port.status, waiting_s(port)
    blocks = hear(port, 1.0)
    port.close()
    return {
        "backlog_s": backlog_s,
        "overflows": status.overflows,
        "lost": [b.lost for b in blocks if b.lost],
        "jumps": [j for a, b in itertools.pairwise(blocks) if (j := b.start - a.start - len(a.samples))],
    }


def broken_source() -> dict[str, Any]:
    """A source that fails while it is rendered ahead: the port is silent and reports it."""

    class Broken(Noise):
        def render(self, start: int, frames: int) -> NDArray[np.float64]:
            if start > 0:
                raise ValueError("no more")
            return super().render(start, frames)

    port = LivePort()
    port.open()
    port.send(Broken(10.0))
    hear(port, 0.8)
    status = port.status
    port.close()
    return {"state": status.state, "detail": status.detail}


def broken_callback() -> dict[str, Any]:
    """An exception in the callback is stored and shown, not printed."""
    port = LivePort()
    port.open()
    port.outgoing.take = lambda: 1 / 0  # type: ignore[method-assign, assignment, return-value]
    seen_s = _wait_for(port, "lost")
    status = port.status
    port.close()
    return {"seen_s": seen_s, "detail": status.detail}


def wrong(device: str, rate: str) -> dict[str, Any]:
    """Open what can't be opened."""
    LivePort(device, int(rate)).open()
    return {"problem": None}


def no_library(what: str) -> dict[str, Any]:
    """Without PortAudio: open the port, or list the devices with the command."""
    import ctypes.util

    ctypes.util.find_library = lambda name: None
    if what == "ports":
        return command("ports", "--json")
    LivePort().open()
    return {"problem": None}


def command(*args: str) -> dict[str, Any]:
    """Run a command of the command line; its output and exit code."""
    from bench.cli import main as door

    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = door(list(args))
    return {"code": code, "out": out.getvalue()}


def off_screen(server: str, log: str) -> dict[str, Any]:
    """Lose the device while C code must not write on the screen, although Python may."""
    with stderr_to_file(Path(log)):
        port = LivePort()
        port.open()
        print("drawn", file=sys.__stderr__, flush=True)
        os.kill(int(server), signal.SIGKILL)
        _wait_for(port, "lost")
        port.reopen()
        port.close()
        print("drawn again", file=sys.stderr)
    return {"log": Path(log).read_text()}


def silences() -> dict[str, Any]:
    """A tone, stopped half-way, then another: the largest step between samples, compared with that of the tones."""
    port = LivePort()
    port.open()
    port.send(SteadyTone(Tone(500.0, -6.0), RATE))
    blocks = hear(port, 0.7)
    port.send(SteadyTone(Tone(300.0, -6.0), RATE))
    blocks += hear(port, 0.7)
    port.send(None)
    blocks += hear(port, 0.7)
    status = port.status
    port.close()
    heard = np.concatenate([b.samples for b in blocks])[:, 0]
    steepest = 10.0 ** (-6.0 / 20.0) * 2.0 * np.pi * 500.0 / RATE
    return {
        "step": float(np.abs(np.diff(heard)).max() / steepest),
        "last": float(np.abs(heard[-RATE // 10 :]).max()),
        "overflows": status.overflows,
        "underflows": status.underflows,
    }


def _wait_for(port: LivePort, state: str) -> float:
    began = time.monotonic()
    while port.status.state != state and time.monotonic() - began < 5.0:
        time.sleep(0.01)
    return time.monotonic() - began


def main() -> None:
    try:
        out = globals()[sys.argv[1]](*sys.argv[2:])
    except Problem as problem:
        out = {"problem": problem.sentence}
    print(json.dumps(out))


if __name__ == "__main__":
    main()
