"""`measure` of the noise-reduction circuit: the same tones with it out, then with its encoder or decoder in."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from bench.audio.port import Block
from bench.measure.quantities.encoder_decoder import InAndOut, decoding_error, encoding_error
from bench.measure.reading import NoReading, Reading, Result
from bench.problem import Problem
from bench.procedure.kinds.activity import View
from bench.procedure.kinds.bench import Bench, JudgedReading
from bench.procedure.kinds.correct.interface import corrected
from bench.procedure.kinds.correct.source import source_db
from bench.procedure.kinds.measure.measure import MeasureActivity
from bench.procedure.kinds.record.passage import Passage, refuse_file, to_record
from bench.procedure.kinds.record.tone_series import ToneSeries
from bench.procedure.model.steps import Measure
from bench.procedure.state.noise_reduction_sides import sides_sentence, wrong_sides
from bench.procedure.state.snapshot import Prompt
from bench.tape.encoding_curves import decoding_tones, encoding_tones, reference_level_db

TONE_S = 2.5

Position = Literal["off", "record-only", "replay-only"]
SWITCH: dict[Position, str] = {
    "off": "Noise reduction out",
    "record-only": "Noise reduction in while it records, out while it replays",
    "replay-only": "Noise reduction out while it records, in while it replays",
}


class EncoderDecoderActivity(MeasureActivity):
    """Makes two recordings of the same tones; the effects of machine and tape cancel."""

    def __init__(self, step: Measure, bench: Bench) -> None:
        refuse_file(bench)
        super().__init__(step, bench)
        machine = bench.job.machine
        if not machine.noise_reduction:
            raise Problem("this machine has no noise reduction, by its sheet")
        self._system = machine.noise_reduction[0]
        self._encodes = step.quantity == "encoding_error"
        self._zero_db = reference_level_db(machine.reference.fluxivity, bench.job.tape.iec_type)
        """Reference level of the noise reduction, dB re that of the machine."""
        usual = encoding_tones(self._system) if self._encodes else decoding_tones(self._system)
        sent = tuple((t.hz, t.db) for t in step.sends)
        self._tones = sent or tuple((hz, db + self._zero_db) for hz, db in usual)
        """Hz, dB re the reference level of the machine."""
        self._positions: tuple[Position, ...] = ("off", "record-only" if self._encodes else "replay-only")
        self._levels: list[list[tuple[Result, ...]]] = []
        """By recording, tone and channel."""
        self._passage: Passage | None = None
        self._series = self._tone_series()

    @property
    def _position(self) -> Position:
        return self._positions[min(len(self._levels), 1)]

    def end(self) -> None:
        """Return the switch to the position of the step."""
        super().end()
        self._switch(self.step.noise_reduction)

    def _switch(self, position: str) -> None:
        hands = self.bench.hands
        if hands is not None:
            hands.switch("noise-reduction", position)

    def interrupted(self) -> None:
        """Record, or replay, again."""
        if self._passage is not None:
            self._series = self._tone_series()
            self._passage.again()

    def _tone_series(self) -> ToneSeries:
        status = self.bench.port.status
        send = self.bench.job.machine.reference.send_dbfs
        tones = [(hz, min(0.0, send + db)) for hz, db in self._tones]
        return ToneSeries(tones, TONE_S, status.sample_rate, status.channels)

    def _record(self) -> None:
        self._series = self._tone_series()
        self._switch(self._position)
        at_once = self.bench.job.machine.heads == 3
        self._passage = Passage(self.bench, self._series.source(), None, at_once=at_once)
        self._passage.record()
        self.wants_sound = True

    def go_on(self) -> None:
        """Start to record; later, end the replay."""
        if self._ask is not None:
            super().go_on()
        elif self._passage is None:
            self._record()
        else:
            self._passage.no_more()
            self._over(self._passage)

    def hear(self, block: Block) -> None:
        """Record, replay, and read each tone at its time."""
        passage = self._passage
        if passage is None:
            return
        replayed = passage.hear(block)
        if replayed is not None:
            self._series.feed(replayed)
        if passage.phase == "over":
            self._over(passage)

    def _over(self, passage: Passage) -> None:
        passage.stop()
        self._passage, self.wants_sound = None, False
        if passage.why_not:
            reading = NoReading(self.step.quantity, "both", passage.why_not)
            self.keep((JudgedReading(reading, self.verdict(reading), "record-replay"),))
            return
        job = self.bench.job
        self._levels.append([tuple(corrected(r, job, looped=True) for r in row) for row in self._series.levels()])
        if len(self._levels) == len(self._positions):
            self.keep(self._errors())
            wrong = wrong_sides(self.bench.journal.records())
            self.bench.notice = sides_sentence(wrong) if wrong else ""

    def _errors(self) -> tuple[JudgedReading, ...]:
        without, with_it = self._levels
        twice, sent_db = [], []
        for (hz, db), outs, ins in zip(self._tones, without, with_it, strict=True):
            for out, in_ in zip(outs, ins, strict=True):
                source = source_db(self.bench, out.channel)
                level = db - self._zero_db + (source[0] if source is not None else 0.0)
                if not self._encodes and isinstance(out, Reading):
                    level = out.value - self.bench.job.replay_dbfs - self._zero_db
                twice.append(InAndOut(hz, level, in_, out))
                sent_db.append(db)
        measured = (encoding_error if self._encodes else decoding_error)(twice, self._system)
        return tuple(
            JudgedReading(r, self.verdict(r), "record-replay", db)
            for r, db in zip(measured.readings, sent_db, strict=True)
        )

    def view(self) -> View:
        """The present recording."""
        if self._ask is not None:
            return View(self._ask)
        passage, position = self._passage, SWITCH[self._position]
        if passage is None:
            number = len(self._levels) + 1
            text = f"{position} (recording {number} of 2). {to_record(self.bench)}: go on to start"
            return View(Prompt("go-on", text, sounds=True))
        prompt = passage.prompt
        if prompt.by_hand:
            prompt = replace(prompt, text=f"{position}. {prompt.text}")
        return View(prompt, head_delay_s=passage.head_delay_s)
