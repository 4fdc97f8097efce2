"""Memory use from the first block of a job to its report."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from bench.workspace import shipped_procedures

MOST_MB = 350


def peaks_mb(folder: Path, *procedures: str) -> list[int]:
    shutil.copytree(shipped_procedures(), folder / "procedures")
    script = [sys.executable, "-m", "tests.training.jobs_in_a_row", str(folder), *procedures]
    done = subprocess.run(script, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    return [int(line) for line in done.stdout.split()]


@pytest.mark.long
def test_a_whole_job_and_fourteen_short_ones_after_it_stay_small(tmp_path: Path) -> None:
    peaks = peaks_mb(tmp_path, "open-reel-nab", *["play-reference"] * 14)
    assert len(peaks) == 15
    assert max(peaks) <= MOST_MB, peaks
