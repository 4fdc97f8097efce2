"""`measure` of the noise-reduction circuit itself: the same tones with it out, then with one side of it in."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from bench.audio.port import Block
from bench.measure.quantities.encoder_decoder import Twice, decoding_error, encoding_error
from bench.measure.reading import NoReading, Reading, Result
from bench.problem import Problem
from bench.procedure.kinds.activity import WAIT, Situation, Taken, View
from bench.procedure.kinds.correct.interface import corrected, replay_dbfs
from bench.procedure.kinds.measure.measure import MeasuringActivity
from bench.procedure.kinds.record.passage import Passage, to_record
from bench.procedure.kinds.record.tone_series import ToneSeries
from bench.procedure.model.steps import Measure
from bench.procedure.model.targets import judge
from bench.procedure.state.snapshot import Prompt
from bench.tape.encoding_curves import decoding_tones, encoding_tones, reference_level_db

TONE_S = 2.5

Position = Literal["off", "record-only", "replay-only"]
WORDS: dict[Position, str] = {
    "off": "Noise reduction out",
    "record-only": "Noise reduction in while it records, out while it replays",
    "replay-only": "Noise reduction out while it records, in while it replays",
}


class CircuitActivity(MeasuringActivity):
    """Two recordings of the same tones; what machine and tape do to them falls out."""

    def __init__(self, step: Measure, situation: Situation) -> None:
        super().__init__(step, situation)
        if situation.is_file:
            raise Problem("a file cannot be recorded on")
        machine = situation.job.machine
        if not machine.noise_reduction:
            raise Problem("this machine has no noise reduction, by its sheet")
        self._system = machine.noise_reduction[0]
        self._encodes = step.quantity == "encoding_error"
        self._zero_db = reference_level_db(machine.reference.fluxivity, situation.job.tape.iec_type)
        """The reference level of the noise reduction, re the machine's."""
        usual = encoding_tones(self._system) if self._encodes else decoding_tones(self._system)
        sent = tuple((t.hz, t.db) for t in step.sends)
        self._tones = sent or tuple((hz, db + self._zero_db) for hz, db in usual)
        """Hz, dB re the machine's reference level."""
        self._positions: tuple[Position, ...] = ("off", "record-only" if self._encodes else "replay-only")
        self._levels: list[list[tuple[Result, ...]]] = []
        self._phase = "ready"
        self._passage: Passage | None = None
        self._series: ToneSeries | None = None

    @property
    def _position(self) -> Position:
        return self._positions[min(len(self._levels), 1)]

    def begin(self) -> None:
        """Nothing sounds before the person says so."""

    def end(self) -> None:
        """The switch goes back to where the step has it."""
        super().end()
        self._switch(self._measure.noise_reduction)

    def _switch(self, position: str) -> None:
        hands = self.situation.hands
        if hands is not None:
            hands.switch("noise-reduction", position)

    def interrupted(self) -> None:
        """The sound was lost: the pass at hand begins again."""
        if self._phase == "recording":
            self._record()
        elif self._phase == "replaying":
            self._replay()

    def _record(self) -> None:
        status = self.situation.port.status
        send = self.situation.job.machine.reference.send_dbfs
        tones = [(hz, min(0.0, send + db)) for hz, db in self._tones]
        self._series = ToneSeries(tones, TONE_S, status.sample_rate, status.channels)
        self._switch(self._position)
        at_once = self.situation.job.machine.heads == 3
        self._passage = Passage(self.situation, self._series.source(), None, at_once=at_once)
        self._passage.record()
        self._phase, self.wants_sound = "recording", True

    def _replay(self) -> None:
        if self._passage is not None:
            self._passage.replay()
            self._phase, self.wants_sound = "replaying", True

    def go_on(self) -> None:
        """Start to record; nothing more will be replayed."""
        match self._phase:
            case "ready" | "again":
                self._record()
            case "replaying" if self._passage is not None:
                self._passage.no_more()
                self._over(self._passage)
            case _:
                raise Problem("the tape runs; it goes on by itself")

    def hear(self, block: Block) -> None:
        """Record, replay, read each tone in its time."""
        passage, series = self._passage, self._series
        if passage is None or series is None:
            return
        heard = passage.hear(block)
        if heard is not None:
            series.feed(heard)
        if passage.phase == "recorded":
            self.situation.transport("stop")
            self._replay()
        elif passage.phase == "over":
            self._over(passage)

    def _over(self, passage: Passage) -> None:
        passage.stop()
        self.wants_sound = False
        if passage.why_not or self._series is None:
            reading = NoReading(self._measure.quantity, "both", passage.why_not)
            self._phase = "asking"
            self.keep((Taken(reading, judge(reading, self._target), "record-replay"),))
            return
        job = self.situation.job
        self._levels.append([tuple(corrected(r, job, looped=True) for r in row) for row in self._series.levels()])
        if len(self._levels) < len(self._positions):
            self._phase = "again"
            return
        self._phase = "asking"
        self.keep(self._errors())

    def _errors(self) -> tuple[Taken, ...]:
        without, with_it = self._levels
        twice = []
        for (hz, db), outs, ins in zip(self._tones, without, with_it, strict=True):
            for out, in_ in zip(outs, ins, strict=True):
                level = db - self._zero_db
                if not self._encodes and isinstance(out, Reading):
                    level = out.value - replay_dbfs(self.situation.job) - self._zero_db
                twice.append(Twice(hz, level, in_, out))
        measured = (encoding_error if self._encodes else decoding_error)(twice, self._system)
        return tuple(Taken(r, judge(r, self._target), "record-replay") for r in measured.readings)

    def view(self) -> View:
        """Which pass it is at."""
        if self._ask is not None:
            return View(self._ask)
        delay = self._passage.head_delay_s if self._passage is not None else None
        match self._phase:
            case "ready" | "again":
                number = len(self._levels) + 1
                text = f"{WORDS[self._position]} (recording {number} of 2). {to_record(self.situation)}"
                return View(Prompt("go-on", text, sounds=True), head_delay_s=delay)
            case "recording":
                left_s = self._passage.left_s if self._passage is not None else None
                return View(Prompt(WAIT.kind, "The tones are being recorded", left_s=left_s), head_delay_s=delay)
            case _ if self._passage is not None:
                asks = self._passage.asks
                text = f"{WORDS[self._position]}. {asks.text}" if asks.by_hand else asks.text
                return View(replace(asks, text=text))
            case _:
                return View(WAIT)
