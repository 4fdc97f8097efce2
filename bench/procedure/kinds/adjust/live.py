"""`adjust`, live: bring one quantity to its target while a trimmer is turned."""

from __future__ import annotations

from bench.audio.port import Block
from bench.measure.reading import Channel
from bench.problem import Problem
from bench.procedure.kinds.activity import WAIT, Activity, View
from bench.procedure.kinds.adjust.channel_gauge import ChannelGauge, Moment
from bench.procedure.kinds.adjust.guidance import near_its_limit, wanders_too_much
from bench.procedure.kinds.adjust.head_delay import HeadDelay
from bench.procedure.kinds.adjust.overbias import OverbiasGuide
from bench.procedure.kinds.adjust.programme_azimuth import WINDOW_S, ProgrammeReader
from bench.procedure.kinds.adjust.reader import AdjustReader, ToneReader
from bench.procedure.kinds.adjust.seatings import Seatings, seatings_needed
from bench.procedure.kinds.adjust.section_pass import READ_EVERY_S, SectionPass
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.record.passage import MARK_BELOW_DB, refuse_file, to_record
from bench.procedure.model.steps import Adjust
from bench.procedure.state.snapshot import Gauge, Prompt
from bench.signals.source import Source
from bench.signals.start_mark import StartMark
from bench.signals.tones import Gap, Multitone, ToneSequence

HOLD_S = 0.8
"""An average begins this long after a turn, plus the head delay; it must then be in for this long to be accepted."""

START_S = 1.0
"""Silence ahead of the start mark, while the machine comes up to speed."""

INSERTION_KNOWN = 0.3
"""Fraction of the tolerance to which the delay of one insertion is read. A choice."""


class LiveAdjustActivity(Activity[Adjust]):
    """Reads tones or programme, and guides the reading to its target."""

    def __init__(self, step: Adjust, bench: Bench) -> None:
        refuse_file(bench, "be adjusted")
        super().__init__(step, bench)
        self._of_source = step.quantity == "source_level"
        if step.sends and bench.job.machine.heads == 2 and not self._of_source:
            raise Problem("this machine cannot replay while it records")
        self._reader: AdjustReader
        self._tones: Multitone | None = None
        """The tones to send; None where a tape is played."""
        if step.programme:
            self._reader = ProgrammeReader(step, bench)
        else:
            self._reader = tones = ToneReader(step, bench)
            if step.sends:
                self._tones = tones.tones()
        self._frames = 0
        self._next_read = 0
        self._positions: dict[str, float] = {}
        self._seatings = seatings_needed(step, bench.job, self._reader.tolerance)
        self._channels = {c: self._channel(c) for c in self._reader.channels}
        self._going = False
        self._pass = SectionPass(bench.job.section(step.plays).seconds) if step.plays is not None else None
        self._head_delay = HeadDelay(WINDOW_S if step.programme else None)

    # ---------------------------------------------------------------- start

    def begin(self) -> None:
        """Start to play a tape; tones wait for the go-on key."""
        if self._tones is None:
            self.bench.wind(self.step.plays, self.step.frequency)
            self.bench.transport("play")
            self._listen()

    def _start_sending(self, tones: Multitone) -> None:
        """Send a start mark, which shows the head delay, then the tones, endlessly."""
        self.bench.transport("record")
        hands = self.bench.hands
        if hands is not None:
            hands.switch("monitor", "source" if self._of_source else "tape")
        rate = self.bench.port.status.sample_rate
        mark = StartMark(rate, max(-60.0, self.bench.job.machine.reference.send_dbfs - MARK_BELOW_DB))
        parts: list[Gap | Source] = [Gap(START_S), mark, tones]
        begins = self.bench.send(ToneSequence(parts, rate))
        self.bench.sending = tones.description
        self._head_delay.expect(begins + round(START_S * rate), rate)
        self._listen()

    def end(self) -> None:
        """Stop, with the monitor on tape again."""
        super().end()
        if self._of_source and self.bench.hands is not None:
            self.bench.hands.switch("monitor", "tape")

    def _listen(self) -> None:
        self._reader.begin()
        self._going = True
        self.wants_sound = True

    def interrupted(self) -> None:
        """Sound is back: drop what was read before the loss."""
        if self._going:
            self._listen()
            for channel in self._channels.values():
                channel.forget()
            self._head_delay.give_up()

    # ---------------------------------------------------------------- reading

    def hear(self, block: Block) -> None:
        """Feed the reader; read the gauge ten times a second."""
        rate = self.bench.port.status.sample_rate
        self._head_delay.hear(block)
        self._reader.feed(block.samples)
        self._frames += len(block.samples)
        if self._frames >= self._next_read:
            self._next_read = self._frames + round(READ_EVERY_S * rate)
            now = self._frames / rate
            self._look_at_trimmers(now)
            for reading, offset in self._reader.readings():
                channel = self._channels[reading.channel]
                channel.read(reading, offset, self._moment(channel, now))
            self._read_insertion(now)
            if self._pass is not None:
                self._pass.heard(any(g.measured is not None for g in self._gauges))

    def _channel(self, channel: Channel) -> ChannelGauge:
        over = OverbiasGuide(self._reader.judged_hz or 0.0) if self.step.quantity == "overbias" else None
        return ChannelGauge(channel, self.step.quantity, self._reader, self._seatings, over)

    def _moment(self, channel: ChannelGauge, now: float) -> Moment:
        # One peak at a time, because one trimmer moves both channels.
        sought = (c.channel for c in self._channels.values() if c.over is not None and not c.over.peak.found)
        degrees = self._positions.get(channel.trimmer or "")
        return Moment(now, now + self._hold_s, self.bench.hands is not None, degrees, next(sought, channel.channel))

    @property
    def _gauges(self) -> tuple[Gauge, ...]:
        return tuple(c.shown for c in self._channels.values() if c.shown is not None)

    @property
    def _hold_s(self) -> float:
        return HOLD_S + max(0.0, self._head_delay.seconds or 0.0)

    @property
    def _setting_shell(self) -> bool:
        return self._seatings is not None and self._seatings.stage == "setting"

    def _read_insertion(self, now: float) -> None:
        """Once an insertion after the first is known well enough, go on to the next."""
        seatings = self._seatings
        if seatings is None or seatings.stage != "reading":
            return
        for channel in self._channels.values():
            average = channel.average
            if average.mean is not None and average.look_s(now, INSERTION_KNOWN * seatings.tolerance) <= 0:
                self._take_out(seatings)

    def _look_at_trimmers(self, now: float) -> None:
        """Begin new averages after a turn, on a machine whose trimmers the program sees."""
        hands = self.bench.hands
        if hands is None:
            return
        positions = {t.name: t.degrees for t in hands.trimmers() if t.name in self._reader.trimmers}
        turned = {name for name, degrees in positions.items() if self._positions.get(name, degrees) != degrees}
        self._positions = positions
        # Left and right bias share an oscillator, so that a turn of one moves both.
        shared = any("bias" in name for name in turned)
        for channel in self._channels.values():
            if shared or channel.trimmer in turned:
                channel.turned(now + self._hold_s)
            if channel.over is not None and shared and channel.trimmer not in turned:
                channel.over.displaced()

    @property
    def _last_read(self) -> tuple[Gauge, ...]:
        return tuple(c.last for c in self._channels.values() if c.last is not None)

    @property
    def _can_accept(self) -> bool:
        """Whether every gauge shows an average, and those that are in have held for long enough."""
        return bool(self._gauges) and all(
            g.measured is not None and g.band > 0 and (g.held_s >= self._hold_s or g.verdict.word != "in")
            for g in self._gauges
        )

    @property
    def _held_to_the_end(self) -> bool:
        """Whether no tone sounds now, as between two passes, and nothing was left to do when it ended."""
        silent = bool(self._gauges) and all(g.measured is None for g in self._gauges)
        return silent and all(
            g.verdict.word == "in" and g.advice == "hold" and g.held_s >= self._hold_s for g in self._last_read
        )

    # ---------------------------------------------------------------- keys

    def go_on(self) -> None:
        """Start the tones; later accept, when all readings are in and have held."""
        if not self._going and self._tones is not None:
            self._start_sending(self._tones)
            return
        if self._seatings is not None and self._seatings.stage == "out":
            self._insert(self._seatings)
            return
        if not self._gauges:
            raise Problem("nothing was read yet; wait for the tone")
        for g in self._last_read:
            if self._setting_shell and g.advice == "hold":
                continue
            if g.verdict.word != "in":
                raise Problem(f"{g.label} is not in ({g.verdict.word}); turn further, or accept it with a reason")
            if g.held_s < self._hold_s:
                raise Problem(f"{g.label} does not hold still yet; take the hand off and wait a moment")
        if self._seatings is None or self._seatings.stage == "done":
            self._keep("")
        else:
            self._take_out(self._seatings)

    def _take_out(self, seatings: Seatings) -> None:
        """Note the reading of this insertion; ask for another where one is needed."""
        mean = next(iter(self._channels.values())).average.mean
        if mean is None:
            raise Problem("the average is not known yet; take the hand off and wait a moment")
        seatings.add(mean)
        if seatings.stage == "out":
            self.bench.transport("stop")
            self._going = self.wants_sound = False

    def _insert(self, seatings: Seatings) -> None:
        """Read again, once the cassette is back in."""
        hands = self.bench.hands
        if hands is not None:
            hands.load("reference")
        seatings.stage = "reading"
        for channel in self._channels.values():
            channel.insert_again()
        self.begin()

    def accept(self, reason: str) -> None:
        """Keep the present readings, although not all are in."""
        if not self._gauges:
            raise Problem("nothing was read yet; wait for the tone, or skip the step")
        self._keep(reason)

    def _keep(self, because: str) -> None:
        self.bench.keep(self.step, tuple(self._reader.judged(g) for g in self._last_read), because)
        self.finished = True

    def view(self) -> View:
        """Gauges, trimmers, and what to do."""
        prompt = Prompt("go-on", f"{to_record(self.bench, source=self._of_source)}: start the tones", sounds=True)
        if self._seatings is not None and self._seatings.stage == "out":
            prompt = Prompt("go-on", self._seatings.prompt)
        if self._going:
            accept = bool(self._gauges) and all(g.held_s >= self._hold_s for g in self._gauges)
            text = "In, and holding: accept it" if accept else "Turn until it is in and holds"
            if accept and any(g.advice == "look" for g in self._gauges):
                text = "In, but the average is not known well yet: look longer, or accept it"
            elif accept and any(near_its_limit(g) for g in self._gauges):
                text = "In, but near its limit: turn further, or accept it"
            elif not accept and self._can_accept and all(g.advice == "hold" for g in self._gauges):
                text = "As near as it can be read: no turn makes it surer. Accept it as is"
                if any(wanders_too_much(g) for g in self._gauges):
                    text = "It wanders by more than its tolerance: find the cause first, or accept it as is"
            if self.step.programme and not accept:
                text += f"; wait {WINDOW_S:g} s after a turn: the reading looks back so far"
            elif self._head_delay.seconds is not None and not accept and not self._of_source:
                text += f"; wait {self._head_delay.seconds:.2f} s after a turn, the way from head to head"
            if self._pass is not None and not accept:
                text += f"; {self._pass}"
            prompt = Prompt(WAIT.kind, text)
            if self._held_to_the_end:
                prompt = Prompt("go-on", "In, and it held until the tone ended: accept it")
            if self._setting_shell and self._can_accept and all(g.advice == "hold" for g in self._gauges):
                prompt = Prompt("go-on", "Set, for this insertion of the cassette: go on to the next")
        known = self.bench.hands is not None
        return View(
            prompt,
            gauges=self._gauges,
            curves=tuple(
                c.over.as_curve(c.channel, c.shown.verdict, by_degrees=known)
                for c in self._channels.values()
                if c.shown is not None and c.over is not None and c.over.curve
            ),
            trimmers=self._reader.trimmers,
            can_accept=self._going and self._can_accept,
            head_delay_s=self._head_delay.seconds,
        )
