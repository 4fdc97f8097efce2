"""`record-replay`: the program sends, the machine records, the replay is measured."""

from __future__ import annotations

from dataclasses import replace

from bench.audio.port import Block
from bench.measure.azimuth import azimuth_of_tones
from bench.measure.names import Reading, no_reading
from bench.problem import Problem
from bench.procedure.kinds.base import Heard, Situation, Taken, View
from bench.procedure.kinds.corrections import difference
from bench.procedure.kinds.expected import Expected, label
from bench.procedure.kinds.tone_list import ToneListActivity
from bench.procedure.snapshot import Prompt
from bench.procedure.steps import RecordReplay, SentTone
from bench.procedure.targets import Target
from bench.signals.tones import Gap, Sequence, Tone

LEAD_IN_S = 2.0
"""Silence before the first tone, so that the tape is up to speed."""

GAP_S = 0.4
"""Between two tones, so that each has an end."""

TAIL_S = 2.0
"""What is waited for after the last tone: the way from the record head to the replay head is far shorter."""


class RecordReplayActivity(ToneListActivity):
    """Three heads: sent and measured at once. Two heads: sent, then replayed and measured."""

    heard: Heard = "record-replay"

    def __init__(self, step: RecordReplay, situation: Situation) -> None:
        super().__init__(step, situation)
        if situation.is_file:
            raise Problem("a file cannot be adjusted or recorded on")
        machine = self.job.machine
        self._step = step
        self._targets: dict[str, Target] = {q: self.job.target(name) for q, name in step.targets.items()}
        self._sends = {f"t{n}": t for n, t in enumerate(step.sends, start=1)}
        self.expected = [
            Expected(i, t.hz, machine.reference.replay_dbfs + t.db, "record-replay", label(t.hz, t.db))
            for i, t in self._sends.items()
        ]
        zero = [i for i, t in self._sends.items() if t.hz == step.reference_hz]
        if not zero:
            raise Problem(f"step {step.id}: reference_hz is {step.reference_hz:g} Hz, but no such tone is sent")
        self._levels = zero
        self._phase = "ready"
        self._ends_at = 0
        self._pending: list[Expected] = []

    @property
    def _three_heads(self) -> bool:
        return self.job.machine.heads == 3

    def begin(self) -> None:
        """Nothing sounds before the person says so."""

    # ---------------------------------------------------------------- sending

    def _start(self) -> None:
        hands = self.situation.hands
        if hands is not None and not self._three_heads:
            hands.rewind()  # the replay begins where the recording did
        self.situation.transport("record")
        if hands is not None and self._three_heads:
            hands.switch("monitor", "tape")
        if self._three_heads:
            self.listen()
        self.wants_sound = True
        self._phase = "sending"
        self._send([t for i, t in self._sends.items() if i not in self.tones])

    def _send(self, tones: list[SentTone]) -> None:
        reference = self.job.machine.reference
        parts: list[Tone | Gap] = [Gap(LEAD_IN_S)]
        for t in tones:
            parts += [Tone(t.hz, reference.send_dbfs + t.db, t.seconds), Gap(GAP_S)]
        rate = self.situation.port.status.sample_rate
        sequence = Sequence(parts, rate)
        begins = self.situation.send(sequence)
        self._ends_at = begins + (sequence.frames or 0) + round(TAIL_S * rate)

    def hear(self, block: Block) -> None:
        """Listen while sending (three heads), or wait until all is recorded (two)."""
        over = block.start + len(block.samples) >= self._ends_at
        if self._phase == "sending" and not self._three_heads:
            if over:
                self.situation.silence()
                self.situation.transport("stop")
                self._phase = "rewind"
                self.wants_sound = False
            return
        super().hear(block)
        if self.wants_sound and self._phase == "sending" and over:
            self.complete()

    def interrupted(self) -> None:
        """After a loss the tones that were not yet measured are sent again."""
        if self._phase != "sending":
            return
        if self._three_heads:
            self.listen()
            self._send([t for i, t in self._sends.items() if i not in self.tones])
        else:
            self._start()

    def go_on(self) -> None:
        """Start sending; two heads: rewound and playing."""
        match self._phase:
            case "ready":
                self._start()
            case "rewind":
                hands = self.situation.hands
                if hands is not None:
                    hands.rewind()
                self.situation.transport("play")
                self._phase = "replaying"
                self.listen()
            case "replaying":
                self.complete()
            case _:
                raise Problem("the tones are being recorded; wait, or stop the sound and repeat the step")

    # ---------------------------------------------------------------- readings

    def readings(self, tone: Expected) -> list[Taken]:
        """Level from the reference tone, response from the others once it is there, record azimuth if asked."""
        out: list[Taken] = []
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

    def _level(self, tone: Expected) -> list[Taken]:
        """How much above or below what was sent the reference tone comes back."""
        sent = self._sends[tone.id]
        replay = self.job.machine.reference.replay_dbfs
        return [
            self._judge(
                tone,
                difference(
                    "record_replay_level",
                    level,
                    replay + sent.db,
                    0.0,
                    reference=f"the level sent ({sent.db:+g} dB re {self._flux})",
                    method=f"{level.method}, replayed less sent",
                ),
            )
            for level in self.levels(tone)
        ]

    @property
    def _flux(self) -> str:
        return f"{self.job.machine.reference.fluxivity_nwb_m:g} nWb/m"

    def _zero_for(self, sent: SentTone) -> str:
        """The reference tone that was sent at a level nearest to this one's: tape is not linear."""
        heard = [i for i in self._levels if i in self.tones]
        return min(heard, key=lambda i: abs(self._sends[i].db - sent.db))

    def _response(self, tone: Expected) -> list[Taken]:
        sent = self._sends[tone.id]
        zero_id = self._zero_for(sent)
        zero = self._sends[zero_id]
        out = []
        for level, base in zip(self.levels(tone), self.tones[zero_id].levels, strict=True):
            if base.value is None or base.uncertainty is None:
                continue
            out.append(
                self._judge(
                    tone,
                    difference(
                        "response",
                        level,
                        base.value + sent.db - zero.db,
                        base.uncertainty,
                        reference=f"{zero.hz:g} Hz at {zero.db:+g} dB",
                        method=f"{level.method}, recorded to replayed, relative to {zero.hz:g} Hz",
                    ),
                )
            )
        return out

    def _judge(self, tone: Expected, reading: Reading) -> Taken:
        verdict = self.judged(reading, self._targets.get(reading.quantity))
        tone.readings.append((reading, verdict))
        return Taken(reading, verdict, self.heard, sent_db=self._sends[tone.id].db)

    def missing(self, tone: Expected) -> list[Taken]:
        """A tone that did not come back."""
        quantity = "record_replay_level" if tone.id in self._levels else "response"
        out = self.not_heard(quantity, tone, self._targets.get(quantity))
        if "azimuth_delay" in self._targets and tone is [e for e in self.expected if e.id not in self.tones][-1]:
            reading = no_reading("azimuth_delay", "left-right", "not all of its tones were heard", frequency_hz=tone.hz)
            out.append(self._judge(tone, reading))
        return out

    def view(self) -> View:
        """The list, and what the machine should be doing."""
        match self._phase:
            case "ready":
                text = "Work tape in and recording, monitors down: start the tones"
                if self._three_heads:
                    text = "Work tape in and recording, monitor on tape, loudspeakers down: start the tones"
                return self.view_with(Prompt("go-on", text, sounds=True))
            case "rewind":
                return self.view_with(Prompt("go-on", "Rewind to where it began and play"))
            case "replaying":
                return self.view_with(Prompt("wait", "Listening to the replay"))
            case _:
                return self.view_with(Prompt("wait", "Tones are being sent and recorded"))
