"""`adjust`, live: bring one quantity to its target while a trimmer is turned."""

from __future__ import annotations

import math
from dataclasses import replace

from bench.audio.port import Block
from bench.measure.reading import Channel, NoReading, Reading, Result
from bench.problem import Problem
from bench.procedure.kinds.activity import WAIT, Activity, View
from bench.procedure.kinds.adjust.guidance import Advice, RecentReadings, Trend, TurnGuide, advised, near_its_limit
from bench.procedure.kinds.adjust.head_delay import HeadDelay
from bench.procedure.kinds.adjust.overbias import OverbiasGuide
from bench.procedure.kinds.adjust.programme_azimuth import WINDOW_S, ProgrammeReader
from bench.procedure.kinds.adjust.reader import AdjustReader, ToneReader, label
from bench.procedure.kinds.adjust.running_average import EXPECTED, LONGEST_LOOK_S, RunningAverage, averaged
from bench.procedure.kinds.adjust.seatings import Seatings, seatings_needed
from bench.procedure.kinds.adjust.section_pass import READ_EVERY_S, SectionPass
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.record.passage import MARK_BELOW_DB, refuse_file, to_record
from bench.procedure.model.steps import Adjust
from bench.procedure.model.targets import judge
from bench.procedure.state.snapshot import Gauge, Prompt
from bench.signals.source import Source
from bench.signals.start_mark import StartMark
from bench.signals.tones import Gap, Multitone, ToneSequence

HOLD_S = 0.8
"""An average begins this long after a turn, plus the head delay; it must then be in for this long to be accepted."""

START_S = 1.0
"""Silence ahead of the start mark, while the machine comes up to speed."""

SET_TO = 0.5
"""Fraction of the tolerance to which azimuth is set in the first insertion; the mean of all is set later. A choice."""

INSERTION_KNOWN = 0.3
"""Fraction of the tolerance to which the delay of one insertion is read. A choice."""

PEAK_SEEN_DB = 0.15
"""Over-bias: a level is added to the curve once its average is known to within this. Slower wander does not count,
because two levels read in quick succession share it. A choice."""


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
        self._overbias: dict[Channel, OverbiasGuide] = {}
        if step.programme:
            self._reader = ProgrammeReader(step, bench)
        else:
            self._reader = tones = ToneReader(step, bench)
            if step.sends:
                self._tones = tones.tones()
            if step.quantity == "overbias":
                self._overbias = {c: OverbiasGuide(tones.judged_hz) for c in tones.channels}
        self._frames = 0
        self._next_read = 0
        self._gauges: dict[Channel, Gauge] = {}
        self._read: dict[Channel, Gauge] = {}
        """The last gauge of each channel with an average, which still holds while the tape is wound back."""
        self._recent: dict[Channel, RecentReadings] = {}
        self._guides: dict[Channel, TurnGuide] = {}
        self._averages: dict[Channel, RunningAverage] = {}
        self._trebles: dict[Channel, RunningAverage] = {}
        self._positions: dict[str, float] = {}
        self._seatings = seatings_needed(step, bench.job, self._reader.tolerance)
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
        self._head_delay.expect(begins + round(START_S * rate))
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
            self._recent.clear()
            self._averages.clear()
            self._trebles.clear()
            self._read.clear()
            self._head_delay.expect(None)

    # ---------------------------------------------------------------- reading

    def hear(self, block: Block) -> None:
        """Feed the reader; read the gauge ten times a second."""
        rate = self.bench.port.status.sample_rate
        self._head_delay.hear(block, rate)
        self._reader.feed(block.samples)
        self._frames += len(block.samples)
        if self._frames >= self._next_read:
            self._next_read = self._frames + round(READ_EVERY_S * rate)
            now = self._frames / rate
            self._look_at_trimmers(now)
            for reading, offset in self._reader.readings():
                self._gauges[reading.channel] = gauge = self._gauge(reading, offset, now)
                if gauge.measured is not None and gauge.band > 0:
                    self._read[reading.channel] = gauge
            self._read_insertion(now)
            if self._pass is not None:
                self._pass.heard(any(g.measured is not None for g in self._gauges.values()))

    # ---------------------------------------------------------------- the gauge

    @property
    def _hold_s(self) -> float:
        return HOLD_S + max(0.0, self._head_delay.seconds or 0.0)

    @property
    def _setting_shell(self) -> bool:
        return self._seatings is not None and self._seatings.stage == "setting"

    def _over_insertions(self, reading: Reading) -> Reading:
        """The mean over the insertions so far, with this reading for the last one."""
        seatings = self._seatings
        if seatings is None or seatings.stage != "done":
            return reading
        method = replace(reading.method, insertions=seatings.count)
        moved = replace(reading, value=reading.value + seatings.offset, method=method)
        return moved.widened("other passes", seatings.uncertainty)

    def _read_insertion(self, now: float) -> None:
        """Once an insertion after the first is known well enough, go on to the next."""
        seatings = self._seatings
        if seatings is None or seatings.stage != "reading":
            return
        for average in self._averages.values():
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
        for channel, average in self._averages.items():
            if shared or self._reader.trimmer(channel) in turned:
                self._turned(channel, average, now)
        for channel, over in self._overbias.items():
            if shared and self._reader.trimmer(channel) not in turned:
                over.displaced()

    def _turned(self, channel: Channel, average: RunningAverage, now: float) -> None:
        average.turned(now + self._hold_s)
        self._guides.setdefault(channel, TurnGuide()).turned()
        self._read.pop(channel, None)
        if channel in self._trebles:
            self._trebles[channel].turned(now + self._hold_s)

    def _gauge(self, reading: Result, offset: float, now: float) -> Gauge:
        reading = replace(reading, frequency_hz=self._reader.judged_hz)
        channel, tolerance = reading.channel, self._reader.tolerance
        recent = self._recent.setdefault(channel, RecentReadings())
        average = self._averages.setdefault(channel, RunningAverage(EXPECTED * tolerance))
        trend: Trend = ""
        live = reading if isinstance(reading, Reading) else None
        if live is not None:
            recent.add(now, live.value)
            trend = recent.trend(now, max(0.1 * tolerance, 1.2 * average.band))
            if self.bench.hands is None and average.jumped(live.value, 0.15 * tolerance):
                self._turned(channel, average, now)
            average.add(now, live.value)
            if average.mean is not None:
                reading = self._over_insertions(averaged(live, average))
        turn, said, known, waits = None, "", average.mean is not None, False
        over = self._overbias.get(channel)
        if over is not None:
            known = self._follow_peak(over, channel, average, now)
            level = reading
            reading = over.reading(level)
            searched = self._searched(channel)
            waits = channel != searched and isinstance(reading, NoReading)
            if isinstance(level, Reading) and channel == searched:
                turn = over.turn(self._reader.target.value, self._degrees(channel))
            if waits:
                said = f"leave it: the {searched} channel first"
            elif isinstance(level, Reading) and isinstance(reading, NoReading):
                said = over.direction()
        verdict = judge(reading, self._reader.target, offset=offset)
        gauge = Gauge(
            channel=channel,
            label=label(self.step.quantity, channel),
            reading=reading,
            verdict=verdict,
            trend=trend,
            direction=said,
            trimmer=self._reader.trimmer(channel),
            held_s=average.seconds(now) if verdict.word == "in" and average.mean is not None else 0.0,
            history=tuple(recent.points),
            band=average.band if average.mean is not None else 0.0,
            now=live.value if live is not None else None,
            turn=turn if verdict.word != "in" else None,
        )
        reading_anew = self._seatings is not None and self._seatings.stage == "reading"
        advice: Advice = "hold" if waits else "look"
        look_s = 0.0
        if not waits and known and not reading_anew:
            advice, look_s = advised(gauge, average, now, self._seatings.known if self._seatings is not None else 0.0)
            if self._setting_shell and abs(gauge.off or 0.0) < SET_TO * tolerance:
                advice, look_s = "hold", 0.0
        if not said:
            guide = self._guides.setdefault(channel, TurnGuide())
            said = guide.direction(reading, verdict, trend)
            if advice == "look" and trend in ("", "steady"):
                said = f"look {math.ceil(look_s)} s longer" if look_s else "wait for the average"
            elif advice == "hold":
                said = "hold"
        return replace(gauge, advice=advice, look_s=look_s, direction=said)

    def _follow_peak(self, over: OverbiasGuide, channel: Channel, average: RunningAverage, now: float) -> bool:
        """Over-bias: add the averages of level and treble to the curve once known. Returns whether they are."""
        treble = self._reader.treble(channel)
        trebles = self._trebles.setdefault(channel, RunningAverage(average.expected))
        if treble is not None and average.since is not None:
            trebles.add(now, treble)
        level, seen = average.mean, max(average.seen, trebles.seen)
        if level is None or trebles.mean is None:
            return False
        if 2.0 * seen > PEAK_SEEN_DB and average.seconds(now) < LONGEST_LOOK_S:
            return False
        over.add_steady(level, trebles.mean, self._degrees(channel))
        return True

    def _searched(self, channel: Channel) -> Channel:
        """The channel whose peak is sought: one at a time, because one trimmer moves both channels."""
        return next((c for c, over in self._overbias.items() if not over.peak.found), channel)

    def _degrees(self, channel: Channel) -> float | None:
        """Position of the trimmer, on a machine whose trimmers the program sees."""
        hands, name = self.bench.hands, self._reader.trimmer(channel)
        if hands is None:
            return None
        return next((t.degrees for t in hands.trimmers() if t.name == name), None)

    @property
    def _last_read(self) -> tuple[Gauge, ...]:
        """The gauges, and where no tone sounds just now what they last read."""
        return tuple(g if g.measured is not None else self._read.get(c, g) for c, g in self._gauges.items())

    @property
    def _can_accept(self) -> bool:
        """Whether every gauge shows an average, and those that are in have held for long enough."""
        return bool(self._gauges) and all(
            g.measured is not None and g.band > 0 and (g.held_s >= self._hold_s or g.verdict.word != "in")
            for g in self._gauges.values()
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
        mean = next(iter(self._averages.values())).mean
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
        self._gauges.clear()
        self._read.clear()
        self._averages.clear()
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
            accept = bool(self._gauges) and all(g.held_s >= self._hold_s for g in self._gauges.values())
            text = "In, and holding: accept it" if accept else "Turn until it is in and holds"
            if accept and any(near_its_limit(g) for g in self._gauges.values()):
                text = "In, but near its limit: turn further, or accept it"
            elif not accept and self._can_accept and all(g.advice == "hold" for g in self._gauges.values()):
                text = "As near as it can be read: no turn makes it surer. Accept it as is"
            if self.step.programme and not accept:
                text += f"; wait {WINDOW_S:g} s after a turn: the reading looks back so far"
            elif self._head_delay.seconds is not None and not accept and not self._of_source:
                text += f"; wait {self._head_delay.seconds:.2f} s after a turn, the way from head to head"
            if self._pass is not None and not accept:
                text += f"; {self._pass}"
            prompt = Prompt(WAIT.kind, text)
            if self._setting_shell and self._can_accept and all(g.advice == "hold" for g in self._gauges.values()):
                prompt = Prompt("go-on", "Set, for this insertion of the cassette: go on to the next")
        gauges = tuple(self._gauges[c] for c in self._reader.channels if c in self._gauges)
        known = self.bench.hands is not None
        return View(
            prompt,
            gauges=gauges,
            curves=tuple(
                o.as_curve(g.channel, g.verdict, by_degrees=known)
                for g in gauges
                if (o := self._overbias.get(g.channel)) is not None and o.curve
            ),
            trimmers=self._reader.trimmers,
            can_accept=self._going and self._can_accept,
            head_delay_s=self._head_delay.seconds,
        )
