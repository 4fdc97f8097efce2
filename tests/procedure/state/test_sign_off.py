"""Whoever signs sees what is signed: the verdict, what is out first, the owner's words, a line for each quantity."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from bench.measure.reading import Channel, NoReading, Reading
from bench.measure.stage import Stage
from bench.procedure.model.targets import Target, judge
from bench.procedure.run import commands as say
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.sign_off import quantity_lines
from tests.procedure.flow_bench import CLEAN, MEASURE, SIGN, Bench, at, listen_through
from tests.session.made_up import START

COMPLAINT = """
[[step]]
kind = "entry"
id = "complaint"
title = "What does the owner say?"
do = "Ask."
asks = "complaint"
"""


def read(value: float | None, stage: Stage, channel: Channel = "left") -> ReadingRecord:
    target = Target(unit="dB", tolerance=0.5, source="common practice, no source")
    reading = (
        NoReading("record_replay_level", channel, "the tone did not come back", frequency_hz=400.0)
        if value is None
        else Reading("record_replay_level", channel, value, 0.1, frequency_hz=400.0)
    )
    return ReadingRecord("r", "a", stage, stage == "left", "record-replay", reading, judge(reading, target), START, 0.0)


def test_a_line_for_each_quantity_what_is_out_on_top() -> None:
    right = read(0.1, "left", "right")
    lines = quantity_lines([read(-1.6, "found-clean"), right, read(-1.2, "left")])
    assert lines == (
        (
            "✗ record-to-replay level, left, 400 Hz, 0 dB, record-replay: −1.60 ± 0.10 dB → −1.20 ± 0.10 dB, "
            "target 0 ± 0.5: out"
        ),
        "✓ record-to-replay level, right, 400 Hz, 0 dB, record-replay: 0.10 ± 0.10 dB, target 0 ± 0.5: in",
    )
    (found,) = quantity_lines([read(-1.6, "found-dirty")])
    assert "−1.60 ± 0.10 dB as found, target" in found
    (silent,) = quantity_lines([replace(read(None, "left"), lot="blank A")])
    assert "blank A" in silent
    assert "no reading, because the tone did not come back" in silent


def test_the_sign_off_shows_verdict_owner_and_quantities(tmp_path: Path) -> None:
    run = Bench(tmp_path).open(COMPLAINT + CLEAN + MEASURE + SIGN)
    run.runner.obey(say.Answer("It sounds dull"))
    run.runner.obey(say.GoOn())
    listen_through(run)
    run.runner.obey(say.Accept("it stays so"))
    assert at(run) == "sign"
    shown = run.runner.snapshot().to_sign
    assert shown[0] == "Out."
    assert re.fullmatch(r"1 step is out: Level, measured \(level, left, 400 Hz: −\d.* dBFS\)\.", shown[1])
    assert "The owner said: “It sounds dull”." in shown
    assert sum("level, left" in line for line in shown[2:]) == 1
