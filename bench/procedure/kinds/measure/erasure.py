"""`measure` with `erases`: record a tone, record silence over its first part, and replay both parts together.

The tone that is left is the reference of the erased part, so both are read in one replay, on two heads and on three.
"""

from __future__ import annotations

import math
from dataclasses import replace

from bench.audio.port import Block
from bench.measure.meters import make_meter
from bench.measure.reading import Measured
from bench.problem import Problem
from bench.procedure.kinds.activity import WAIT, View
from bench.procedure.kinds.bench import Bench, JudgedReading
from bench.procedure.kinds.measure.judged_readings import judged_readings
from bench.procedure.kinds.measure.measure import MeasureActivity
from bench.procedure.kinds.record.passage import LEAD_IN_S, Passage, refuse_file, to_record
from bench.procedure.model.steps import Measure
from bench.procedure.state.snapshot import Prompt
from bench.signals.start_mark import START_MARK_S
from bench.signals.tones import Multitone, Tone

LEAST_S = 6.0
"""Minimum length of each part; a narrow band needs time."""

SPARE_S = 3.0
"""Extra length of the tone beyond what is replayed, in case a rewind stops short."""

AHEAD_S = 0.5
"""Left out at the start, where erasing begins."""


class ErasureActivity(MeasureActivity):
    """Records, erases and replays, with rewinds between."""

    def __init__(self, step: Measure, bench: Bench) -> None:
        refuse_file(bench)
        super().__init__(step, bench)
        if not step.sends:
            raise Problem(f"step {step.id}: there is no tone to record and erase")
        self._seconds = max(LEAST_S, step.seconds)
        self._phase = "ready"
        self._ends_at = 0
        self._passage = self._erasing()
        self._begin_meter()

    def _erasing(self) -> Passage:
        """The second recording: silence behind a start mark. The replay runs on into the part that was not erased."""
        return Passage(self.bench, None, self._seconds, at_once=False, replayed_s=2 * self._seconds)

    def _begin_meter(self) -> None:
        status = self.bench.port.status
        hz = self.bench.job.judged_hz(self.step)
        self._meter = make_meter("erasure", status.sample_rate, status.channels, {"frequency": hz} if hz else {})
        self._frames = 0

    def interrupted(self) -> None:
        """Begin the present pass again."""
        if self._phase == "recording":
            self._record()
        else:
            self._begin_meter()
            self._passage.again()

    def _record(self) -> None:
        bench = self.bench
        hands = bench.hands
        if hands is not None:
            hands.rewind()
        bench.transport("record")
        rate = bench.port.status.sample_rate
        seconds = LEAD_IN_S + START_MARK_S + 2 * self._seconds + SPARE_S
        send = bench.job.machine.reference.send_dbfs
        tones = [Tone(t.hz, min(0.0, send + t.db), seconds) for t in self.step.sends]
        self._ends_at = bench.send(Multitone(tones, rate)) + round(seconds * rate)
        self._phase, self.wants_sound = "recording", True

    def _erase(self) -> None:
        self._passage = self._erasing()
        self._passage.record()
        self._phase, self.wants_sound = "erasing", True

    def go_on(self) -> None:
        """Start to record, then to erase; later, end the replay."""
        match self._phase:
            case "ready":
                self._record()
            case "recorded":
                self._erase()
            case "erasing":
                self._passage.no_more()
                self._finish(self._passage.why_not)
            case _ if self._ask is not None:
                super().go_on()
            case _:
                raise Problem("the tape runs; it goes on automatically")

    def hear(self, block: Block) -> None:
        """Wait for the end of each pass; measure the last one."""
        bench = self.bench
        if self._phase == "recording":
            if block.start + len(block.samples) >= self._ends_at:
                bench.silence()
                bench.transport("stop")
                self._phase, self.wants_sound = "recorded", False
            return
        replayed = self._passage.hear(block)
        if replayed is not None:
            inside = replayed.between(AHEAD_S, math.inf)
            if len(inside):
                self._meter.feed(inside)
                self._frames += len(inside)
        if self._passage.phase == "over":
            self._finish(self._passage.why_not)

    def _finish(self, because: str) -> None:
        self.bench.silence()
        self.bench.transport("stop")
        self._phase = "asking"
        measured = self._meter.finish() if self._frames else Measured((), ())
        readings = judged_readings(self.step, self.bench, measured, because=because)
        sent = self.step.sends[0].db
        self.keep(tuple(JudgedReading(r, self.verdict(r, o), "record-replay", sent) for r, o in readings))

    def view(self) -> View:
        """The present pass."""
        if self._ask is not None:
            return View(self._ask)
        match self._phase:
            case "ready":
                return View(Prompt("go-on", f"{to_record(self.bench)}: go on to start", sounds=True))
            case "recorded":
                text = "Stop, rewind to where it began, record with nothing sent, then go on: the start is erased"
                return View(Prompt("go-on", text))
            case "recording":
                return View(Prompt(WAIT.kind, "The tone is being recorded"))
            case _ if self._passage.phase == "recording":
                return View(replace(self._passage.prompt, text="The start is being erased"))
            case _:
                return View(self._passage.prompt)
