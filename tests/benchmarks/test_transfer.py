"""Speed of `decode` as a multiple of real time, as a whole process, and how much memory it takes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

DECODE = """
import resource, sys
from bench.cli import main
assert main(sys.argv[1:]) == 0
used = resource.getrusage(resource.RUSAGE_SELF)
status = open("/proc/self/status").read()
print(used.ru_utime + used.ru_stime, int(status.split("VmHWM:")[1].split()[0]) / 1024, file=sys.stderr)
"""
"""Prints processor seconds, loading included, and the peak memory in MB; `ru_maxrss` would be at least that of the
process that started it."""
ERRORS = ["--level-error", "-2", "--treble-error", "63:1,4000:-3,10000:-8", "--uncertainty", "0.5"]
ERRORS += ["--azimuth-delay", "31.5", "--speed-error", "0.5", "--reference-level", "-12"]


def decoded(folder: Path, minutes: float, rate: int, ending: str) -> tuple[float, float]:
    """Multiple of real time, and MB, for stereo programme of the given number of minutes."""
    source = folder / "in.wav"
    minute = 0.05 * np.random.default_rng(1).standard_normal((60 * rate, 2))
    with soundfile.SoundFile(source, "w", rate, 2, "PCM_24") as file:
        for _ in range(round(minutes)):
            file.write(minute)
    command = ["decode", str(source), str(folder / f"out.{ending}"), *ERRORS, "--force"]
    done = subprocess.run([sys.executable, "-c", DECODE, *command], capture_output=True, text=True, check=True)
    seconds, megabytes = map(float, done.stderr.split()[-2:])
    return minutes * 60 / seconds, megabytes


@pytest.mark.parametrize("ending", ["wav", "flac"])
def test_decode_against_real_time(ending: str, tmp_path: Path) -> None:
    decoded(tmp_path, 1, 48000, ending)  # compiles
    ratio, _ = decoded(tmp_path, 10, 48000, ending)
    print(f"decode with every error taken off, stereo 48 kHz to {ending}: {ratio:.0f} x real time (reach 40)")
    assert ratio > 40


def test_memory_does_not_grow_with_length(tmp_path: Path) -> None:
    short, long = (decoded(tmp_path, minutes, 96000, "wav")[1] for minutes in (1, 8))
    print(f"decode, peak memory: {short:.0f} MB for 1 min, {long:.0f} MB for 8 min, stereo 96 kHz (reach 300)")
    assert long < 300
    assert long < 1.1 * short
