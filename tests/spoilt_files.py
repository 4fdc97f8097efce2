"""Tries spoilt files of one kind, seed by seed, and lists those that fail: `python -m tests.spoilt_files sheets 0 500`.

One process tries them all; the tests named `test_mutated` try the same ones.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from bench.workspace import shipped_procedures
from tests.commands import test_mutated_captures as captures
from tests.procedure import test_mutated as files
from tests.session import test_mutated as sessions

Try = Callable[[Path, range], None]

KINDS: dict[str, Try] = {
    "sessions": sessions.spoilt,
    "captures": captures.measure_all,
    "procedures": lambda folder, seeds: files.all_by_bytes(folder, seeds, files.SHIPPED),
    "sheets": lambda folder, seeds: files.all_by_bytes(folder, seeds, files.SHEETS),
}


def failed(kind: str, seeds: range) -> int:
    """How many of these seeds fail; each is printed with its error."""
    count = 0
    with tempfile.TemporaryDirectory() as name:
        ground = Path(name)
        if kind in ("procedures", "sheets"):
            shutil.copytree(shipped_procedures(), ground / "procedures")
        for seed in seeds:
            own = ground
            if kind not in ("procedures", "sheets"):
                own = ground / str(seed)
                own.mkdir()
            try:
                KINDS[kind](own, range(seed, seed + 1))
            except (Exception, KeyboardInterrupt) as error:
                count += 1
                print(f"{kind} {seed}: {type(error).__name__}: {str(error)[:300]}", flush=True)
            if own != ground:
                shutil.rmtree(own, ignore_errors=True)
    return count


if __name__ == "__main__":
    kind, first, last = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    start = time.monotonic()
    wrong = failed(kind, range(first, last))
    print(f"{kind} {first} to {last - 1}: {wrong} failed, {time.monotonic() - start:.0f} s")
    sys.exit(wrong > 0)
