"""Loading a long procedure, as a multiple of what parsing its text costs in the same run."""

from __future__ import annotations

import time
import tomllib
from collections.abc import Callable
from pathlib import Path

from bench.procedure.library import Library
from tests.procedure.small_bench import CLEAN, ENTRY, HEAD, PLAY, make_bench


def _cpu(work: Callable[[], object]) -> float:
    """The least of five runs, seconds of processor time."""
    best = float("inf")
    for _ in range(5):
        before = time.process_time()
        work()
        best = min(best, time.process_time() - before)
    return best


def test_a_procedure_of_500_steps_loads_in_a_few_times_its_parsing(tmp_path: Path) -> None:
    more = 'why = "' + "A sentence that a trainee reads. " * 8 + '"\n'
    text = HEAD + CLEAN + PLAY + "".join(ENTRY.replace('"wear"', f'"wear-{n}"') + more for n in range(498))
    library = Library(make_bench(tmp_path, long=text))
    load, parse = _cpu(lambda: library.load_job("long")), _cpu(lambda: tomllib.loads(text))
    print(f"500 steps, {len(text) / 1000:.0f} kB: load {load * 1000:.0f} ms = {load / parse:.1f} x parsing")
    assert len(library.load_job("long").steps) == 500
    assert load < 5 * parse
