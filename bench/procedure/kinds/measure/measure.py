"""`measure`: a quantity measured once, over a stretch of sound, and judged."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from bench.audio.port import Block, Samples
from bench.measure.catalogue import QUANTITIES
from bench.measure.meters import Meter, make_meter
from bench.measure.reading import Measured
from bench.problem import Problem
from bench.procedure.kinds.activity import WAIT, Activity, Heard, Situation, Taken, View, settle
from bench.procedure.kinds.measure.flutter_parts import parts_of
from bench.procedure.kinds.measure.judged_readings import judged_readings, options_of, source_of
from bench.procedure.kinds.measure.returned import come_back
from bench.procedure.kinds.record.passage import Passage, to_record
from bench.procedure.model.steps import Measure
from bench.procedure.model.targets import Target, judge
from bench.procedure.state.events import Accepted
from bench.procedure.state.snapshot import FlutterPart, Prompt

Phase = Literal["ready", "recording", "replaying", "listening", "asking"]

EDGE_S = 0.3
"""Left out of a replay at either end: flutter may have moved it against its mark."""


class MeasuringActivity(Activity):
    """What all ways of measuring share: readings are judged, kept, and asked about where they are not in."""

    def __init__(self, step: Measure, situation: Situation) -> None:
        super().__init__(step, situation)
        self._measure = step
        self._target: Target = situation.job.target(step.target)
        self._ask: Prompt | None = None

    def keep(self, taken: tuple[Taken, ...]) -> None:
        """The readings are there: the step is over, or asks why it should be."""
        self.wants_sound = False
        self.situation.keep(self.step, taken)
        self._ask = settle(self, taken)
        self.finished = self._ask is None

    def accept(self, reason: str) -> None:
        """Go on although something is not in."""
        if self._ask is None:
            raise Problem("the measurement is not over yet")
        self.situation.note(self.step.id, Accepted(reason))
        self.finished = True

    def answer(self, text: str) -> None:
        """The reason asked for."""
        if self._ask is None or not text.strip():
            super().answer(text)
        self.accept(text)


class MeasureActivity(MeasuringActivity):
    """Feeds a meter for so many seconds: of what plays, or of what was recorded for it, at once or after rewinding."""

    def __init__(self, step: Measure, situation: Situation) -> None:
        super().__init__(step, situation)
        self._records = bool(step.sends) or step.records is not None
        if self._records and situation.is_file:
            raise Problem("a file cannot be recorded on")
        self._heard: Heard = "reference tape" if step.plays else "record-replay" if self._records else "machine"
        self._at_once = situation.job.machine.heads == 3
        self._passage: Passage | None = None
        self._phase: Phase = "ready" if self._records else "listening"
        self._frames = 0
        self._parts: tuple[FlutterPart, ...] = ()
        self._spectrum: tuple[tuple[float, float], ...] = ()
        self._make()

    def _make(self) -> None:
        status = self.situation.port.status
        self._meter: Meter
        options = options_of(self._measure, self.situation.job)
        meter = "programme_azimuth" if self._measure.programme else QUANTITIES[self._measure.quantity].meter
        self._meter = make_meter(meter, status.sample_rate, status.channels, options)

    def begin(self) -> None:
        """The tape plays at once; recording begins when the person says so."""
        if self._records:
            return
        hands = self.situation.hands
        if hands is not None and self._measure.plays:
            hands.rewind(self._measure.plays)
        self.situation.transport("play")
        self.wants_sound = True

    def interrupted(self) -> None:
        """After a loss the stretch is measured, or recorded, again from its start."""
        self._frames = 0
        self._make()
        if self._phase == "recording":
            self._record()
        elif self._phase == "replaying" and self._passage is not None:
            self._passage.replay()

    def go_on(self) -> None:
        """Start recording; the replay is over."""
        match self._phase:
            case "ready":
                self._record()
            case "replaying" if self._passage is not None:
                self._passage.no_more()
                self._finish(self._passage.why_not)
            case "asking" if self._ask is READ_THEM:
                self.finished = True
            case "asking":
                raise Problem("measure again, or say why you go on")
            case _:
                raise Problem("the measurement runs; it goes on by itself")

    def _record(self) -> None:
        rate = self.situation.port.status.sample_rate
        source = source_of(self._measure, self.situation.job, rate)
        self._passage = Passage(
            self.situation, source, self._measure.seconds if source is None else None, at_once=self._at_once
        )
        self._passage.record()
        self._phase, self.wants_sound = "recording", True

    def hear(self, block: Block) -> None:
        """Feed the meter until the time is over."""
        passage = self._passage
        if passage is None:
            self._feed(block.samples)
            if self._frames >= self._measure.seconds * self.situation.port.status.sample_rate:
                self._finish("")
            return
        heard = passage.hear(block)
        if heard is not None:
            rate = self.situation.port.status.sample_rate
            first = max(0, round((EDGE_S - heard.at_s) * rate))
            last = round((passage.seconds - EDGE_S - heard.at_s) * rate)
            if last > first:
                self._feed(heard.samples[first:last])
        if passage.phase == "recorded":
            self.situation.transport("stop")
            passage.replay()
            self._phase = "replaying"
        elif passage.phase == "over":
            passage.stop()
            self._finish(passage.why_not)

    def _feed(self, samples: Samples) -> None:
        self._meter.feed(np.ascontiguousarray(samples))
        self._frames += len(samples)

    def port_ended(self) -> None:
        """The capture is over."""
        self._finish("")

    def _finish(self, because: str) -> None:
        self.situation.silence()
        self.situation.transport("stop")
        self._phase = "asking"
        measured = self._meter.finish() if self._frames else Measured((), ())
        readings = judged_readings(self._measure, self.situation.job, measured, because=because)
        sent = self._measure.sends[0].db if self._measure.sends else None
        if self._measure.returns_to is not None:
            taken = tuple(Taken(r, v, self._heard, sent) for r, v in come_back(self._measure, self.situation, readings))
        else:
            taken = tuple(Taken(r, judge(r, self._target, offset=o), self._heard, sent) for r, o in readings)
        beside = QUANTITIES[self._measure.quantity].kept_beside
        parts = tuple(Taken(r, None, self._heard, sent) for r in measured.readings if r.quantity == beside)
        self._parts = parts_of([p.reading for p in parts])
        if self._parts:
            from bench.measure.quantities.flutter import FlutterMeter  # what no other measurement needs is loaded late

            self._spectrum = self._meter.spectrum() if isinstance(self._meter, FlutterMeter) else ()
        self.keep(taken + parts)
        if self._parts and self.finished and not self.situation.is_file:
            self.finished, self._ask = False, READ_THEM

    def view(self) -> View:
        """How far it is, and what the machine should be doing."""
        if self._ask is not None:
            return View(self._ask, flutter=self._parts, spectrum=self._spectrum)
        passage = self._passage
        match self._phase:
            case "ready":
                return View(Prompt("go-on", to_record(self.situation), sounds=bool(self._measure.sends)))
            case "recording" if passage is not None:
                at_once = " and replayed" if self._at_once else ""
                prompt = Prompt(WAIT.kind, f"It is being recorded{at_once}", left_s=passage.left_s)
                return View(prompt, head_delay_s=passage.head_delay_s)
            case "replaying" if passage is not None:
                return View(passage.asks)
            case _:
                rate = self.situation.port.status.sample_rate
                left = max(0.0, self._measure.seconds - self._frames / rate)
                return View(Prompt(WAIT.kind, "Measuring", left_s=math.ceil(left)))


READ_THEM = Prompt("go-on", "Measured and kept: read which part makes how much of it, then go on")
