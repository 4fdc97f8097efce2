"""Load of a live adjust step, as a share of one core at real time."""

from __future__ import annotations

import time
from pathlib import Path

from bench.procedure.run.commands import GoOn
from bench.procedure.run.desk import SHOW_EVERY_S
from tests.procedure.record_bench import HEAD, TWO, adjust, open_bench

SECONDS = 20.0


def test_a_live_adjust_step(tmp_path: Path) -> None:
    ten = {"frequency": "10000", "reference_frequency": "400"}
    text = HEAD + adjust("bias", "response", TWO, "tape.bias", "bias", **ten)
    opened, _ = open_bench(tmp_path, text, "three-head-cassette", seed=1, changes={"bias_left_db": 2.0})
    runner, port, clock = opened.runner, opened.port, opened.clock
    try:
        port.open()
        runner.begin()
        while not runner.wants_sound:
            runner.obey(GoOn())
        spent, shown, begins = 0.0, clock.now(), clock.now() + 3.0  # after the search for the start mark
        while clock.now() < begins + SECONDS:
            block = port.read(1.0)
            before = time.process_time()
            if block is not None:
                runner.hear(block)
            if clock.now() - shown >= SHOW_EVERY_S:
                shown, gauges = clock.now(), runner.snapshot().gauges
            if clock.now() >= begins:
                spent += time.process_time() - before
        assert {g.channel for g in gauges if g.measured is not None} == {"left", "right"}
    finally:
        port.close()
        opened.store.close()
    print(f"live adjust step, two tones, stereo 48 kHz: {100 * spent / SECONDS:.1f} % of one core (reach 12)")
    assert spent / SECONDS < 0.12
