"""`measure`: a quantity measured once, over a stretch of sound, and judged."""

from __future__ import annotations

from dataclasses import replace

from bench.audio.port import Block
from bench.measure.meters import make_meter
from bench.measure.names import no_reading
from bench.problem import Problem
from bench.procedure.kinds.base import WAIT, Activity, Heard, Situation, Taken, View, settle
from bench.procedure.kinds.corrections import expected_dbfs, with_tape
from bench.procedure.snapshot import Prompt
from bench.procedure.steps import Measure
from bench.procedure.targets import Target, judge
from bench.signals.tones import Together, Tone


class MeasureActivity(Activity):
    """Feeds a meter for so many seconds and keeps what it says."""

    def __init__(self, step: Measure, situation: Situation) -> None:
        super().__init__(step, situation)
        if situation.is_file and step.sends:
            raise Problem("a file cannot be recorded on")
        if step.records or step.erases or step.of:
            raise Problem("this cannot be measured in one pass")
        self._step = step
        self._target: Target = situation.job.target(step.target)
        self._heard: Heard = "reference tape" if step.plays else "record-replay" if step.sends else "machine"
        self._frames = 0
        self._ask: Prompt | None = None
        self._make()

    def _make(self) -> None:
        status = self.situation.port.status
        section = self.situation.job.section(self._step.plays) if self._step.plays else None
        frequency = self._step.frequency or (section.hz if section else None)
        option = "nominal" if self._step.quantity.startswith("speed") else "frequency"
        options = {option: frequency} if frequency is not None else {}
        kind = self._step.quantity.split("_")[0] if self._step.quantity != "balance" else "level"
        self._meter = make_meter(kind, status.sample_rate, status.channels, options)

    def begin(self) -> None:
        """The tape plays at once; tones are sent when the person says so."""
        if self._step.sends:
            return
        hands = self.situation.hands
        if hands is not None and self._step.plays:
            hands.rewind(self._step.plays)
        self.situation.transport("play")
        self.wants_sound = True

    def interrupted(self) -> None:
        """After a loss the stretch is measured again from its start."""
        self._frames = 0
        self._make()

    def go_on(self) -> None:
        """Start the tones."""
        if not self._step.sends or self.wants_sound:
            raise Problem("the measurement runs; it goes on by itself")
        reference = self.situation.job.machine.reference
        self.situation.transport("record")
        rate = self.situation.port.status.sample_rate
        self.situation.send(Together([Tone(t.hz, reference.send_dbfs + t.db) for t in self._step.sends], rate))
        self.wants_sound = True

    def hear(self, block: Block) -> None:
        """Feed the meter until the time is over."""
        self._meter.feed(block.samples)
        self._frames += len(block.samples)
        if self._frames >= self._step.seconds * self.situation.port.status.sample_rate:
            self._finish()

    def port_ended(self) -> None:
        """The capture is over."""
        self._finish()

    def _finish(self) -> None:
        self.wants_sound = False
        self.situation.silence()
        self.situation.transport("stop")
        job = self.situation.job
        offset = 0.0
        if self._step.quantity == "level" and self._step.plays:
            offset = expected_dbfs(job, job.section(self._step.plays))
        measured = self._meter.finish()
        readings = [r for r in measured.readings if r.quantity == self._step.quantity]
        if not readings:
            because = "; ".join(measured.warnings) or "nothing was found to measure"
            readings = [no_reading(self._step.quantity, "both", because)]
        taken = []
        for raw in readings:
            reading = with_tape(raw, job) if self._step.plays else replace(raw)
            taken.append(Taken(reading, judge(reading, self._target, offset=offset), self._heard))
        self.situation.keep(self.step, tuple(taken))
        self._ask = settle(self, tuple(taken))
        self.finished = self._ask is None

    def accept(self, reason: str) -> None:
        """Go on although something is not in."""
        if self._ask is None:
            raise Problem("the measurement is not over yet")
        self.situation.note("accept", self.step.id, reason)
        self.finished = True

    def answer(self, text: str) -> None:
        """The reason asked for."""
        self.accept(text)

    def view(self) -> View:
        """How far it is."""
        if self._ask is not None:
            return View(self._ask)
        if self._step.sends and not self.wants_sound:
            return View(Prompt("go-on", "Work tape in and recording, loudspeakers down: start the tones", sounds=True))
        rate = self.situation.port.status.sample_rate
        left = max(0.0, self._step.seconds - self._frames / rate)
        return View(Prompt(WAIT.kind, f"Measuring: {left:.0f} s left"))
