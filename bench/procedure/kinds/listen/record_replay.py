"""`record-replay`: send tones for the machine to record, and measure the replay."""

from __future__ import annotations

from dataclasses import replace

from bench.audio.port import Block
from bench.figures import hertz
from bench.measure.quantities.azimuth import azimuth_of_tones
from bench.measure.quantities.mistracking import mistracking
from bench.measure.reading import NoReading, ReferenceTone, Result
from bench.measure.tone.finding.found_tone import FoundTone
from bench.problem import Problem
from bench.procedure.kinds.activity import View
from bench.procedure.kinds.bench import Bench, JudgedReading
from bench.procedure.kinds.correct.certificate import certified
from bench.procedure.kinds.correct.interface import corrected
from bench.procedure.kinds.correct.reference_tape import difference, recorded_level, response_re, sent_text
from bench.procedure.kinds.correct.source import source_db
from bench.procedure.kinds.listen.expected_tones import Expected
from bench.procedure.kinds.listen.tone_list import ToneListActivity
from bench.procedure.kinds.record.passage import Passage, refuse_file, to_record
from bench.procedure.model.steps import RecordReplay, SentTone
from bench.procedure.model.targets import Target
from bench.procedure.state.events import HeadDelayMeasured
from bench.procedure.state.journal import ReadingSource, newest
from bench.procedure.state.noise_reduction_sides import sides_sentence, wrong_sides
from bench.procedure.state.snapshot import Prompt
from bench.signals.source import Source
from bench.signals.tones import Gap, Tone, ToneSequence
from bench.words.figures import tone
from bench.words.mistracking import music_sentences

GAP_S = 0.4
"""Silence between two tones, which shows where each ends."""

TAIL_S = 0.8
"""Silence after the last one, for the same reason."""

OFF_TIME_S = 1.0
"""Furthest that the middle of a tone may lie outside the time at which it was sent: 1 % of a minute and a half of tape,
and the ends of a tone that dropouts have shortened. A choice."""


class RecordReplayActivity(ToneListActivity[RecordReplay]):
    """Three heads: measures while sending. Two heads: sends, then measures the replay. A start mark comes first."""

    source: ReadingSource = "record-replay"

    def __init__(self, step: RecordReplay, bench: Bench) -> None:
        refuse_file(bench, "be adjusted or recorded on")
        super().__init__(step, bench)
        self._targets: dict[str, Target] = {q: self.job.target(name) for q, name in step.targets.items()}
        self._sends = {f"t{n}": t for n, t in enumerate(step.sends, start=1)}
        self.expected = [
            Expected(i, t.hz, self.job.replay_dbfs + t.db, "record-replay", tone(t.hz, t.db), t.db)
            for i, t in self._sends.items()
        ]
        zero = [i for i, t in self._sends.items() if t.hz == step.reference_hz]
        if not zero:
            raise Problem(f"step {step.id}: reference_hz is {hertz(step.reference_hz)}, but no such tone is sent")
        self._levels = zero
        self._sent_s: dict[str, tuple[float, float]] = {}
        """Begin and end of each tone sent, seconds after the end of the start mark."""
        self._passage: Passage | None = None
        self._pending: list[Expected] = []

    # ---------------------------------------------------------------- sending

    def _start(self) -> None:
        self._passage = Passage(self.bench, self._source(), None, at_once=self.job.machine.heads == 3)
        self._passage.record()
        self.listen()

    def _source(self) -> ToneSequence:
        """The tones not measured yet, one after another."""
        reference = self.job.machine.reference
        parts: list[Tone | Gap | Source] = []
        now_s = 0.0
        for i, t in self._sends.items():
            if i not in self.tones:
                parts += [Tone(t.hz, reference.send_dbfs + t.db, t.seconds), Gap(GAP_S)]
                self._sent_s[i] = (now_s, now_s + t.seconds)
                now_s += t.seconds + GAP_S
        parts.append(Gap(TAIL_S))
        return ToneSequence(parts, self.bench.port.status.sample_rate)

    def hear(self, block: Block) -> None:
        """Listen to what follows the start mark."""
        passage = self._passage
        if passage is None:
            return
        known = passage.head_delay_s is not None
        replayed = passage.hear(block)
        if passage.head_delay_s is not None and not known:
            self.bench.note(self.step.id, HeadDelayMeasured(round(passage.head_delay_s, 4)))
        if replayed is not None:
            self.speed = passage.speed
            self.take_sound(replayed.samples, at_s=replayed.at_s, lost=bool(block.lost))
        if passage.phase == "over" and self.wants_sound:
            self._over(passage)

    def is_due(self, expected: Expected, tone: FoundTone) -> bool:
        """Whether the tone found comes when the expected one was sent; the rest of an earlier recording may not."""
        begins_s, ends_s = self._sent_s[expected.id]
        middle_s = (self.listens_from_s or 0.0) + (tone.start_s + 0.5 * tone.duration_s) * self.speed
        return begins_s - OFF_TIME_S < middle_s < ends_s + OFF_TIME_S

    def _over(self, passage: Passage) -> None:
        """End the list, because the replay is over or nothing more will come."""
        self.why_not = passage.why_not
        self.port_ended()

    def interrupted(self) -> None:
        """Send the tones not measured yet again, or find the replay again by its start mark."""
        passage = self._passage
        if passage is None or not self.wants_sound:
            return
        if passage.phase == "recording":
            self._start()
        else:
            passage.again()
            self.listen()

    def lost_sound(self) -> bool:
        """Send again, or find the replay again; while a machine with two heads records, nothing is listened to."""
        return self._passage is not None and self._passage.listens and super().lost_sound()

    def go_on(self) -> None:
        """Start to send; later, end the replay."""
        if self._passage is None:
            self._start()
        elif self._ask is not None:
            super().go_on()
        else:
            self._passage.no_more()
            self._over(self._passage)

    # ---------------------------------------------------------------- readings

    def levels(self, tone: Expected) -> list[Result]:
        """Level of each channel, corrected for the interface."""
        return [corrected(r, self.job, looped=True) for r in super().levels(tone)]

    def readings(self, tone: Expected) -> list[JudgedReading]:
        """Level from the reference tone, then response from the others; record azimuth where it is asked for."""
        out: list[JudgedReading] = []
        if tone.id in self._levels:
            out += self._level(tone)
        else:
            self._pending.append(tone)
        if any(i in self.tones for i in self._levels):
            for e in self._pending:
                out += self._response(e)
            self._pending = []
        if "azimuth_delay" in self._targets and all(i in self.tones for i in self._sends):
            delay = azimuth_of_tones(list(self.tones.values()))
            out.append(self._judge(tone, replace(delay, frequency_hz=max(t.hz for t in self._sends.values()))))
        return out

    def _level(self, tone: Expected) -> list[JudgedReading]:
        """Level of the reference tone relative to the source, or to what was sent; that of a check tape is absolute."""
        sent = self._sends[tone.id]
        said = sent_text(sent.db, self.job)
        out = []
        for level in self.levels(tone):
            source = None if self.step.certifies else source_db(self.bench, level.channel)
            reading = recorded_level(level, self.job.replay_dbfs + sent.db, said, source)
            out.append(self._judge(tone, self._compression(reading, sent) if self._compresses(sent) else reading))
        return out

    def _compresses(self, sent: SentTone) -> bool:
        """Whether a level is judged by its compression relative to the lowest level sent."""
        return "compression" in self._targets and sent.db > min(self._sends[i].db for i in self._levels)

    def _compression(self, level: Result, sent: SentTone) -> Result:
        """Level relative to the last lower level of this channel, dB; negative where less comes back."""
        for record, lower in newest(self.bench.journal.records(), "record_replay_level", level.channel):
            if record.sent_db is not None and record.sent_db < sent.db:
                said = f"its level at {record.sent_db:+g} dB"
                return difference("compression", level, lower.value, lower.uncertainty, reference=said)
        because = "its level was not read at a lower level"
        return NoReading("compression", level.channel, because, frequency_hz=level.frequency_hz)

    def _zero_for(self, sent: SentTone) -> str:
        """The reference tone sent at the nearest level, because tape is not linear."""
        heard = [i for i in self._levels if i in self.tones]
        return min(heard, key=lambda i: abs(self._sends[i].db - sent.db))

    def _response(self, tone: Expected) -> list[JudgedReading]:
        sent = self._sends[tone.id]
        zero_id = self._zero_for(sent)
        zero = self._sends[zero_id]
        base_levels = self.levels(next(e for e in self.expected if e.id == zero_id))
        out = []
        for level, base in zip(self.levels(tone), base_levels, strict=True):
            of = ReferenceTone(zero.hz, zero.db)
            response = response_re(level, base, sent.db - zero.db, reference=of, between="recorded to replayed")
            out.append(self._judge(tone, response))
        return out

    def worked_out(self) -> list[JudgedReading]:
        """Heard error with noise reduction, where the step asks for it, from the readings at the lowest level sent."""
        target = self._targets.get("mistracking")
        if self.step.noise_reduction != "off" and any(t.verdict and t.verdict.word == "out" for t in self.taken):
            self.bench.notice = sides_sentence(wrong_sides(self.bench.journal.records()))
        if target is None:
            return []
        if self.step.noise_reduction != "off":
            reading = NoReading("heard_error", "both", "it is worked out from readings with noise reduction out")
            return [JudgedReading(reading, self.judged(reading, target), self.source)]
        lowest = min(t.db for t in self._sends.values())
        own = [
            t.reading
            for t in self.taken
            if t.sent_db == lowest or (t.reading.quantity == "record_replay_level" and not self._has_level(lowest))
        ]
        machine = self.job.machine
        found = mistracking(own, machine.noise_reduction[0] if machine.noise_reduction else "type-b")
        self.bench.notice = music_sentences(found.maps)
        return [
            JudgedReading(r, self.judged(r, target) if r.quantity == "heard_error" else None, self.source)
            for r in found.readings
        ]

    def _has_level(self, db: float) -> bool:
        return any(t.sent_db == db and t.reading.quantity == "record_replay_level" for t in self.taken)

    def _judge(self, tone: Expected, reading: Result) -> JudgedReading:
        if self.step.certifies:
            reading = certified(reading, self.bench)
        verdict = self.judged(reading, self._targets.get(reading.quantity))
        tone.readings.append((reading, verdict))
        return JudgedReading(reading, verdict, self.source, sent_db=self._sends[tone.id].db)

    def missing(self, tone: Expected) -> list[JudgedReading]:
        """The readings of a tone that did not come back."""
        quantity = "response"
        if tone.id in self._levels:
            quantity = "compression" if self._compresses(self._sends[tone.id]) else "record_replay_level"
        out = self.not_heard(quantity, tone, self._targets.get(quantity))
        if "azimuth_delay" in self._targets and tone is [e for e in self.expected if e.id not in self.tones][-1]:
            reading = NoReading("azimuth_delay", "left-right", "not all of its tones were heard", frequency_hz=tone.hz)
            out.append(self._judge(tone, reading))
        return out

    def view(self) -> View:
        """The list of tones, and what to do at the machine."""
        if self._passage is None:
            return self.view_with(Prompt("go-on", f"{to_record(self.bench)}: go on to start", sounds=True))
        return replace(self.view_with(self._passage.prompt), head_delay_s=self._passage.head_delay_s)
