"""`measure`: measure a quantity once over a stretch of sound, and judge it."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from bench.audio.port import Block, Samples
from bench.measure.catalogue import QUANTITIES
from bench.measure.meters import Meter, make_meter
from bench.measure.reading import Measured, Result
from bench.measure.verdict import Verdict
from bench.problem import Problem
from bench.procedure.kinds.activity import WAIT, Activity, View, ask_about
from bench.procedure.kinds.bench import Bench, JudgedReading
from bench.procedure.kinds.measure.flutter_parts import parts_of
from bench.procedure.kinds.measure.judged_readings import judged_readings, options_of, source_of
from bench.procedure.kinds.measure.returned import judge_return
from bench.procedure.kinds.record.passage import Passage, refuse_file, to_record
from bench.procedure.model.steps import Measure
from bench.procedure.model.targets import Target, judge
from bench.procedure.state.events import Accepted
from bench.procedure.state.journal import ReadingSource
from bench.procedure.state.snapshot import FlutterPart, Prompt

EDGE_S = 0.3
"""Left out at both ends of a replay, because flutter moves it relative to its start mark."""

READ_THEM = Prompt("go-on", "Measured and kept: read which part makes how much of it, then go on")


class MeasureActivity(Activity[Measure]):
    """What all measuring activities share: keep judged readings, and ask where they are not in."""

    def __init__(self, step: Measure, bench: Bench) -> None:
        super().__init__(step, bench)
        self._target: Target | None = bench.job.target(step.target) if step.target is not None else None

    def verdict(self, reading: Result, offset: float = 0.0) -> Verdict | None:
        """The verdict by the target of the step; None for what is reported, not judged."""
        return None if self._target is None else judge(reading, self._target, offset=offset)

    def keep(self, taken: tuple[JudgedReading, ...]) -> None:
        """Keep the readings; the step is over, or asks for a reason."""
        self.wants_sound = False
        self.bench.keep(self.step, taken)
        self._ask = ask_about(self, taken)
        self.finished = self._ask is None

    def accept(self, reason: str) -> None:
        """Go on although something is not in."""
        if self._ask is None:
            raise Problem("the measurement is not over yet")
        self.bench.note(self.step.id, Accepted(reason))
        self.finished = True

    def answer(self, text: str) -> None:
        """Take the reason."""
        if self._ask is None or not text.strip():
            super().answer(text)
        self.accept(text)


class MeterActivity(MeasureActivity):
    """Feeds a meter with what plays, for the seconds of the step."""

    source: ReadingSource = "machine"

    def __init__(self, step: Measure, bench: Bench) -> None:
        super().__init__(step, bench)
        if step.plays is not None:
            self.source = "reference tape"
        elif step.programme or step.quantity == "tape_level":
            self.source = "owner's tape"
        self._seconds = step.seconds
        if step.plays is not None:
            # A section that is shorter than the step wants gives a reading with the uncertainty of its own length.
            self._seconds = min(step.seconds, bench.job.section(step.plays).seconds)
        self._frames = 0
        self._parts: tuple[FlutterPart, ...] = ()
        self._spectrum: tuple[tuple[float, float], ...] = ()
        self._begin_meter()

    def _begin_meter(self) -> None:
        status = self.bench.port.status
        self._frames = 0
        self._meter: Meter
        options = options_of(self.step, self.bench)
        facts = QUANTITIES[self.step.quantity]
        meter = facts.of_programme if self.step.programme else facts.meter
        self._meter = make_meter(meter, status.sample_rate, status.channels, options)

    def begin(self) -> None:
        """Start to play."""
        self.bench.wind(self.step.plays, self.step.frequency)
        self.bench.transport("play")
        self.wants_sound = True

    def interrupted(self) -> None:
        """Measure again from the start."""
        self._begin_meter()

    def go_on(self) -> None:
        """Leave the readings; nothing else ends with this key."""
        super().go_on()
        if self._ask is None:
            raise Problem("the measurement runs; it goes on automatically")

    def hear(self, block: Block) -> None:
        """Feed the meter until its time is over."""
        self._feed(block.samples)
        if self._frames >= self._seconds * self.bench.port.status.sample_rate:
            self._finish("")

    def _feed(self, samples: Samples) -> None:
        if len(samples):
            self._meter.feed(np.ascontiguousarray(samples))
            self._frames += len(samples)

    def port_ended(self) -> None:
        """The capture has ended: measure what there was."""
        self._finish("")

    def _finish(self, because: str) -> None:
        self.bench.silence()
        self.bench.transport("stop")
        step = self.step
        measured = self._meter.finish() if self._frames else Measured((), ())
        readings = judged_readings(step, self.bench, measured, because=because)
        sent = step.sends[0].db if step.sends else None
        if step.returns_to is not None:
            judged: list[tuple[Result, Verdict | None]] = [*judge_return(step, self.bench, readings)]
        else:
            judged = [(r, self.verdict(r, offset)) for r, offset in readings]
        taken = tuple(JudgedReading(r, verdict, self.source, sent) for r, verdict in judged)
        beside = QUANTITIES[step.quantity].kept_beside
        parts = tuple(JudgedReading(r, None, self.source, sent) for r in measured.readings if r.quantity == beside)
        self._parts = parts_of([p.reading for p in parts])
        if self._parts:
            from bench.measure.quantities.flutter import FlutterMeter  # only flutter needs this module

            self._spectrum = self._meter.spectrum() if isinstance(self._meter, FlutterMeter) else ()
        self.keep(taken + parts)
        if self._parts and self.finished and not self.bench.is_file:
            self.finished, self._ask = False, READ_THEM

    def view(self) -> View:
        """Progress, or the question."""
        if self._ask is not None:
            return View(self._ask, flutter=self._parts, spectrum=self._spectrum)
        return self._progress()

    def _progress(self) -> View:
        left_s = max(0.0, self._seconds - self._frames / self.bench.port.status.sample_rate)
        return View(Prompt(WAIT.kind, "Measuring", left_s=math.ceil(left_s)))


class RecordedMeterActivity(MeterActivity):
    """Records something for a meter, and feeds it with the replay."""

    source: ReadingSource = "record-replay"

    def __init__(self, step: Measure, bench: Bench) -> None:
        refuse_file(bench)
        super().__init__(step, bench)
        self._passage: Passage | None = None

    def begin(self) -> None:
        """Wait for the go-on key."""

    def interrupted(self) -> None:
        """Record, or replay, again."""
        self._begin_meter()
        if self._passage is not None:
            self._passage.again()

    def lost_sound(self) -> bool:
        """Record, or replay, again; while a machine with two heads records, nothing is listened to."""
        return self._passage is not None and self._passage.listens and super().lost_sound()

    def go_on(self) -> None:
        """Start to record; later, end the replay."""
        if self._ask is not None:
            super().go_on()
        elif self._passage is None:
            self._record()
        else:
            self._passage.no_more()
            self._finish(self._passage.why_not)

    def _record(self) -> None:
        rate = self.bench.port.status.sample_rate
        source = source_of(self.step, self.bench.job, rate)
        of_source = self.step.quantity == "source_level"
        at_once = self.bench.job.machine.heads == 3 or of_source
        seconds = self.step.seconds if source is None else None
        monitor: Literal["tape", "source"] = "source" if of_source else "tape"
        self._passage = Passage(self.bench, source, seconds, at_once=at_once, monitor=monitor)
        self._passage.record()
        self.wants_sound = True

    def end(self) -> None:
        """Stop, with the monitor on tape again."""
        super().end()
        if self.step.quantity == "source_level" and self.bench.hands is not None:
            self.bench.hands.switch("monitor", "tape")

    def hear(self, block: Block) -> None:
        """Feed the meter with the replay."""
        passage = self._passage
        if passage is None:
            return
        replayed = passage.hear(block)
        if replayed is not None:
            self._feed(replayed.between(EDGE_S, passage.seconds - EDGE_S))
        if passage.phase == "over":
            self._finish(passage.why_not)

    def _progress(self) -> View:
        if self._passage is None:
            what = to_record(self.bench, source=self.step.quantity == "source_level")
            return View(Prompt("go-on", f"{what}: go on to start", sounds=bool(self.step.sends)))
        return View(self._passage.prompt, head_delay_s=self._passage.head_delay_s)
