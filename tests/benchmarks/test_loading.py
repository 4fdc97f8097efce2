"""Loading a long procedure, as a multiple of what parsing its text costs in the same run."""

from __future__ import annotations

import time
import tomllib
from collections.abc import Callable
from pathlib import Path

from pytest_benchmark.fixture import BenchmarkFixture

from bench.procedure.load.library import Library
from tests.procedure.small_bench import BIAS, CLEAN, ENTRY, HEAD, PLAY, RECORD, make_bench

DECISION = """
[[step]]
kind = "decision"
id = "on-{n}"
title = "On?"
of = "record-{n}"
when_not = "{to}"
"""


def _cpu(work: Callable[[], object]) -> float:
    """Processor seconds of the fastest of five runs."""
    best = float("inf")
    for _ in range(5):
        before = time.process_time()
        work()
        best = min(best, time.process_time() - before)
    return best


def _ratio(benchmark: BenchmarkFixture, folder: Path, text: str) -> float:
    library = Library(make_bench(folder, long=text))
    job = benchmark(library.load_job, "long")
    assert len(job.steps) == 500
    load, parse = _cpu(lambda: library.load_job("long")), _cpu(lambda: tomllib.loads(text))
    print(f"500 steps, {len(text) / 1000:.0f} kB: load {load * 1000:.0f} ms = {load / parse:.1f} x parsing")
    return load / parse


def test_a_procedure_of_500_steps_loads_in_a_few_times_its_parsing(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    more = 'why = "' + "A sentence that a trainee reads. " * 8 + '"\n'
    text = HEAD + CLEAN + PLAY + "".join(ENTRY.replace('"wear"', f'"wear-{n}"') + more for n in range(498))
    assert _ratio(benchmark, tmp_path, text) < 5


def test_so_does_one_of_steps_that_lead_to_others(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    text = HEAD + CLEAN + PLAY
    for n in range(166):
        text += RECORD.replace('"record"\ntitle', f'"record-{n}"\ntitle')
        text += BIAS.replace('"bias"\ntitle', f'"bias-{n}"\ntitle')
        text += DECISION.format(n=n, to="end" if n == 165 else f"record-{n + 1}")
    text = text.replace('"end"', '"last"') + ENTRY.replace('"wear"', '"last"')
    text = text.replace(RECORD.replace('"record"\ntitle', '"record-0"\ntitle'), "", 1).replace('"record-0"', '"bias-0"')
    assert _ratio(benchmark, tmp_path, text) < 5
