"""The list of ten thousand sessions, as a multiple of reading its index once in the same run."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path

from bench.session.compare.machines import by_due_date
from bench.session.record.index import INDEX_NAME, SETTLED_NS, entries
from tests.benchmarks.test_loading import _cpu
from tests.session.years import visit

COUNT = 10_000


def many(workspace: Path) -> Path:
    """Ten thousand sessions of two hundred machines, written a while ago."""
    sessions = workspace / "sessions"
    text = (visit(workspace, 5, -13.0, -12.0) / "session.toml").read_text(encoding="utf-8")
    then = time.time_ns() - 10 * SETTLED_NS
    for n in range(COUNT):
        machine, year = n % 200, 1960 + n // 200
        folder = sessions / f"{year}-03-04-1012-deck-{machine}"
        folder.mkdir()
        own = text.replace("Lanternhill two-head deck", f"Lanternhill deck {machine}").replace("2025-", f"{year}-")
        (folder / "session.toml").write_text(own, encoding="utf-8")
        os.utime(folder / "session.toml", ns=(then + n, then + n))
    return sessions


def test_ten_thousand_sessions_are_listed_in_a_few_times_the_reading_of_one_index(tmp_path: Path) -> None:
    sessions = many(tmp_path)
    before = time.process_time()
    assert len(entries(sessions)) == COUNT + 1
    cold = time.process_time() - before
    warm = _cpu(lambda: by_due_date(entries(sessions)))
    index = _cpu(lambda: json.loads((sessions / INDEX_NAME).read_bytes()))
    said = f"{COUNT} sessions: {warm * 1000:.0f} ms of processor time warm = {warm / index:.1f} x reading the index"
    print(f"{said} ({index * 1000:.0f} ms); cold {cold:.1f} s")
    assert len(by_due_date(entries(sessions))) == 201
    assert warm < 15 * index
