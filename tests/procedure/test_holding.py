"""Hold pauses sound, tape and timer; the same key resumes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from bench.measure.reading import Reading
from bench.procedure.run import commands as say
from bench.procedure.run.runner import Runner
from tests.procedure.flow_bench import CLEAN, LEVEL, MEASURE, Bench, Cable, at, events, listen, listen_through, words

WARM = """
[[step]]
kind = "by-hand"
id = "warm"
title = "Warm up"
do = "Wait."
timer_s = 60.0
"""

RECORD = """
[[step]]
kind = "record-replay"
id = "record"
title = "Record"
do = "Record."
sends = [{ hz = 400, db = -20, seconds = 2.0 }, { hz = 1000, db = -20, seconds = 2.0 }]
reference_hz = 400
targets = { response = "machine.record_response" }
"""


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_the_timer_stands(bench: Bench) -> None:
    run = bench.open(WARM + words("end"))
    run.clock.wait(10.0)
    run.runner.obey(say.Hold())
    run.clock.wait(1000.0)
    shown = run.runner.snapshot()
    assert (shown.held, shown.prompt.kind, shown.timer_left_s) == (True, "go-on", 50.0)
    run.runner.obey(say.GoOn())
    shown = run.runner.snapshot()
    assert (shown.held, shown.timer_left_s, at(run)) == (False, 50.0, "warm")
    run.clock.wait(20.0)
    assert run.runner.snapshot().timer_left_s == 30.0
    assert events(run, "hold", "release") == [("hold", "warm", "held"), ("release", "warm", "went on after 1000 s")]


def test_no_sound_is_sent_and_none_is_heard(bench: Bench) -> None:
    run = bench.open(CLEAN + RECORD + words("end"))
    run.runner.obey(say.GoOn())
    run.runner.obey(say.GoOn())
    listen(run, lambda s: any(t.state == "done" for t in s.tones))
    run.runner.obey(say.Hold())
    shown = run.runner.snapshot()
    assert (shown.sending, run.runner.wants_sound) == ("", False)
    heard = 1.0
    for _ in range(50):
        block = run.port.read(0.0)
        assert block is not None
        run.runner.hear(block)
        heard = float(abs(block.samples).max())
    assert heard < 0.01  # the tape is stopped
    run.runner.obey(say.Hold())
    assert run.runner.snapshot().sending == "1 kHz at −32.0 dBFS"
    listen_through(run)
    kept = run.store.records()
    assert {r.reading.frequency_hz for r in kept} == {400.0, 1000.0}
    assert all(isinstance(r.reading, Reading) for r in kept)
    assert {r.attempt for r in kept} == {1}


def test_a_measurement_begins_anew(bench: Bench) -> None:
    run = bench.open(CLEAN + MEASURE.replace("seconds = 1.0", "seconds = 3.0"))
    run.runner.obey(say.GoOn())
    listen(run, lambda s: s.prompt.left_s == 1)
    run.runner.obey(say.Hold())
    run.runner.obey(say.GoOn())
    assert run.runner.snapshot().prompt.left_s == 3


def test_what_can_be_said_while_held(bench: Bench) -> None:
    run = bench.open(CLEAN + LEVEL + words("end"))
    run.runner.obey(say.GoOn())
    listen(run, lambda s: s.can_accept)
    run.runner.obey(say.Hold())
    assert not run.runner.snapshot().can_accept
    run.runner.obey(say.Accept("because"))
    assert run.runner.snapshot().notice == "on hold: go on first"
    assert run.store.records() == ()
    run.runner.obey(say.Note("the telephone"))
    assert run.runner.snapshot().held
    run.runner.obey(say.Skip("enough"))
    assert (at(run), run.runner.snapshot().held) == ("end", False)


def test_leaving_while_held(bench: Bench) -> None:
    run = bench.open(CLEAN + MEASURE)
    run.runner.obey(say.GoOn())
    run.runner.obey(say.Hold())
    run.runner.obey(say.Leave())
    assert run.runner.finished
    assert at(bench.resume(run)) == "measured"


def test_tones_do_not_start_again_by_themselves_when_a_lost_device_is_back(bench: Bench) -> None:
    run = bench.open(CLEAN + RECORD + words("end"))
    cable = Cable(run.port)
    runner = Runner(run.job, cable, run.store, run.clock)
    runner.begin()
    run = replace(run, port=cable, runner=runner)
    run.runner.obey(say.GoOn())
    run.runner.obey(say.GoOn())
    listen(run, lambda s: s.sending != "")
    cable.out = True
    run.runner.tick()
    lost = run.runner.snapshot()
    assert (lost.held, lost.sending, cable.sends) == (True, "", False)
    run.runner.obey(say.GoOn())
    assert (run.runner.snapshot().held, run.runner.snapshot().notice) == (True, "the cable is out")
    cable.out = False
    run.runner.tick()
    run.runner.sound_is_back()
    back = run.runner.snapshot()
    assert (back.held, back.prompt.kind, back.prompt.sounds, cable.sends) == (True, "go-on", True, False)
    run.runner.obey(say.GoOn())
    assert cable.sends
    listen_through(run)
    assert all(isinstance(r.reading, Reading) for r in run.store.records())
    assert len(run.store.records()) > 1
