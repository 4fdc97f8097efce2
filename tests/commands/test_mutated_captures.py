"""Captures damaged in any way: no fault of the program, no hang, nothing raw on a terminal, nothing written.

A mutant is half a second of a tone in one of ten formats, with one to eight errors in bytes, sizes and rates of
its header, pieces lost, doubled or taken from another format, or the wrong ending to its name.
"""

from __future__ import annotations

import contextlib
import io
import random
import resource
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile

from bench.cli import main
from tests.procedure.test_mutated import in_time

SUBTYPES = {
    "WAV": "PCM_24", "FLAC": "PCM_24", "AIFF": "PCM_16", "OGG": "VORBIS", "MP3": "MPEG_LAYER_III", "CAF": "PCM_16",
    "W64": "FLOAT", "RF64": "PCM_16", "AU": "FLOAT", "WAVEX": "DOUBLE",
}  # fmt: skip
QUANTITIES = ("level", "level", "level", "everything", "noise", "hum", "flutter", "azimuth", "response", "speed", "thd")
HEADER = 400
"""Bytes from the start in which most changes are made."""
FIGURES = (
    b"\xff\xff\xff\xff", b"\x00\x00\x00\x00", b"\x00\x00\x00\x80", b"\x7f\xff\xff\xff", b"\x01\x00\x00\x00",
    b"\x00\x00\xc0\x7f", b"\x00\x00\x80\x7f", b"\xff\xff\x7f\x7f",
)  # fmt: skip
"""Sizes and rates that no file has; NaN, infinity and the largest number as 32-bit floats."""
MOST_MB = 400


@cache
def sound(kind: str) -> bytes:
    t = np.arange(24000) / 48000
    tone = 0.2 * np.sin(2 * np.pi * 1000 * t)[:, None] * [1.0, 0.9]
    out = io.BytesIO()
    noise = 1e-3 * np.random.default_rng(1).standard_normal(tone.shape)
    soundfile.write(out, tone + noise, 48000, format=kind, subtype=SUBTYPES[kind])
    return out.getvalue()


def spoilt(rng: random.Random, kind: str) -> bytes:
    content = bytearray(sound(kind))
    for _ in range(rng.randint(1, 8)):
        if not content:
            break
        at = rng.randrange(min(len(content), HEADER) if rng.random() < 0.7 else len(content))
        match rng.choices(range(6), (8, 3, 2, 2, 2, 2))[0]:
            case 0:
                content[at] = rng.randrange(256)
            case 1:
                content[at : at + 4] = rng.choice(FIGURES)
            case 2:
                del content[at : at + rng.randint(1, 2000)]
            case 3:
                content[at:at] = content[at : at + rng.randint(1, 4000)]
            case 4:
                other = sound(rng.choice(list(SUBTYPES)))
                there = rng.randrange(len(other))
                content[at : at + 50] = other[there : there + 50]
            case 5:
                del content[at:]
    return bytes(content)


def measure(path: Path, rng: random.Random) -> None:
    command = ["measure", rng.choice(QUANTITIES), path.name, *(["--json"] if rng.random() < 0.3 else [])]
    out, err = io.StringIO(), io.StringIO()
    with in_time(), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(command)
    assert code in (0, 1, 2), (command, err.getvalue())
    raw = sorted(
        {c for c in out.getvalue() + err.getvalue() if not c.isprintable() and c not in "\n\N{NO-BREAK SPACE}"}
    )
    assert not raw, (command, raw)


def measure_all(folder: Path, seeds: range) -> None:
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for seed in seeds:
        rng = random.Random(seed)
        kind = rng.choice(list(SUBTYPES))
        path = folder / f"spoilt.{rng.choice([kind.lower()] * 3 + ['wav', 'raw'])}"
        path.write_bytes(spoilt(rng, kind))
        try:
            with contextlib.chdir(folder):
                measure(path, rng)
        except BaseException:
            print(f"seed {seed}")
            raise
        path.unlink()
    assert list(folder.iterdir()) == []
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss <= max(before_kb, MOST_MB * 1024)


def test_spoilt_captures(tmp_path: Path) -> None:
    measure_all(tmp_path, range(30))


@pytest.mark.long
@pytest.mark.parametrize("part", range(20))
def test_twenty_thousand_spoilt_captures(tmp_path: Path, part: int) -> None:
    measure_all(tmp_path, range(part * 1000, (part + 1) * 1000))
