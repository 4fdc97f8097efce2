"""`adjust`, live: bring one quantity to its target while a trimmer is turned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bench.audio.port import Block, Samples
from bench.measure.reading import Channel, NoReading, Reading, Result
from bench.problem import Problem
from bench.procedure.kinds.activity import WAIT, Activity, View
from bench.procedure.kinds.adjust.guidance import RecentReadings, Trend, TurnGuide
from bench.procedure.kinds.adjust.overbias import OverbiasGuide
from bench.procedure.kinds.adjust.programme_azimuth import WINDOW_S, ProgrammeReader
from bench.procedure.kinds.adjust.reader import AdjustReader, ToneReader, label
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.record.passage import MARK_BELOW_DB, refuse_file, to_record
from bench.procedure.model.steps import Adjust
from bench.procedure.model.targets import judge
from bench.procedure.state.snapshot import Gauge, Prompt
from bench.signals.source import Source
from bench.signals.start_mark import START_MARK_S, StartMark, find_start_mark
from bench.signals.tones import Gap, Multitone, ToneSequence

READ_EVERY_S = 0.1
"""Time between two readings of the gauge."""

HOLD_S = 0.8
"""A reading may be accepted once it has been in and steady for this long, plus the head delay."""

START_S = 1.0
"""Silence ahead of the start mark, while the machine comes up to speed."""

SEARCH_S = 6.0
"""Longest search for the start mark."""


class LiveAdjustActivity(Activity[Adjust]):
    """Reads tones or programme, and guides the reading to its target."""

    def __init__(self, step: Adjust, bench: Bench) -> None:
        refuse_file(bench, "be adjusted")
        super().__init__(step, bench)
        if step.sends and bench.job.machine.heads == 2:
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
        self._recent: dict[Channel, RecentReadings] = {}
        self._guides: dict[Channel, TurnGuide] = {}
        self._stood: dict[Channel, tuple[float | None, float]] = {}
        """Position of a trimmer, and since when it stands there."""
        self._going = False
        self._mark_frame: int | None = None
        self._mark_sound: list[Samples] = []
        self._mark_from = 0
        self._head_delay: float | None = WINDOW_S if step.programme else None

    # ---------------------------------------------------------------- start

    def begin(self) -> None:
        """Start to play a tape; tones wait for the go-on key."""
        if self._tones is None:
            hands = self.bench.hands
            if hands is not None:
                hands.rewind(self.step.plays)
            self.bench.transport("play")
            self._listen()

    def _start_sending(self, tones: Multitone) -> None:
        """Send a start mark, which shows the head delay, then the tones without an end."""
        self.bench.transport("record")
        hands = self.bench.hands
        if hands is not None:
            hands.switch("monitor", "tape")
        rate = self.bench.port.status.sample_rate
        mark = StartMark(rate, max(-60.0, self.bench.job.machine.reference.send_dbfs - MARK_BELOW_DB))
        parts: list[Gap | Source] = [Gap(START_S), mark, tones]
        begins = self.bench.send(ToneSequence(parts, rate))
        self.bench.sending = tones.description
        self._mark_frame = begins + round(START_S * rate)
        self._mark_sound = []
        self._listen()

    def _listen(self) -> None:
        self._reader.begin()
        self._going = True
        self.wants_sound = True

    def interrupted(self) -> None:
        """Sound is back: drop what was read before the loss."""
        if self._going:
            self._listen()
            self._recent.clear()
            self._mark_frame = None

    # ---------------------------------------------------------------- reading

    def hear(self, block: Block) -> None:
        """Feed the reader; read the gauge ten times a second."""
        self._look_for_mark(block)
        self._reader.feed(block.samples)
        self._frames += len(block.samples)
        rate = self.bench.port.status.sample_rate
        if self._frames >= self._next_read:
            self._next_read = self._frames + round(READ_EVERY_S * rate)
            now = self._frames / rate
            for reading, offset in self._reader.readings():
                self._gauges[reading.channel] = self._gauge(reading, offset, now)

    def _look_for_mark(self, block: Block) -> None:
        """Find the head delay: the time from sending the start mark to hearing it."""
        if self._mark_frame is None:
            return
        rate = self.bench.port.status.sample_rate
        if not self._mark_sound:
            self._mark_from = block.start
        self._mark_sound.append(block.samples)
        if block.start < self._mark_frame + round((START_MARK_S + 1.0) * rate):
            return
        found = find_start_mark(np.concatenate(self._mark_sound), rate)
        if found is not None:
            self._head_delay = (self._mark_from + found[0] - self._mark_frame) / rate
        if found is not None or block.start > self._mark_frame + SEARCH_S * rate:
            self._mark_frame, self._mark_sound = None, []

    # ---------------------------------------------------------------- the gauge

    @property
    def _hold_s(self) -> float:
        return HOLD_S + max(0.0, self._head_delay or 0.0)

    def _gauge(self, reading: Result, offset: float, now: float) -> Gauge:
        reading = replace(reading, frequency_hz=self._reader.judged_hz)
        channel = reading.channel
        recent = self._recent.setdefault(channel, RecentReadings())
        trend: Trend = ""
        if isinstance(reading, Reading):
            recent.add(now, reading.value)
            trend = recent.trend(now, 0.1 * self._reader.tolerance)
        turn, said = None, ""
        over = self._overbias.get(channel)
        if over is not None:
            treble = self._reader.treble(channel)
            level = reading
            if isinstance(level, Reading) and trend == "steady" and treble is not None and self._rested(channel, now):
                over.add_steady(level.value, treble, self._degrees(channel))
            reading = over.reading(level)
            if isinstance(level, Reading):
                if channel == self._searched(channel):
                    turn = over.turn(self._reader.target.value, self._degrees(channel))
                said = over.direction() if isinstance(reading, NoReading) else ""
        verdict = judge(reading, self._reader.target, offset=offset)
        before = self._gauges.get(channel)
        held = 0.0
        if verdict.word == "in" and trend == "steady":
            held = (before.held_s if before else 0.0) + READ_EVERY_S
        guide = self._guides.setdefault(channel, TurnGuide())
        return Gauge(
            channel=channel,
            label=label(self.step.quantity, channel),
            reading=reading,
            verdict=verdict,
            trend=trend,
            direction=said or guide.direction(reading, verdict, trend),
            trimmer=self._reader.trimmer(channel),
            held_s=held,
            history=tuple(recent.points),
            turn=turn if verdict.word != "in" else None,
        )

    def _rested(self, channel: Channel, now: float) -> bool:
        """Whether the head delay since the last turn is over, so that the steady reading includes that turn."""
        degrees = self._degrees(channel)
        if channel not in self._stood or self._stood[channel][0] != degrees:
            self._stood[channel] = (degrees, now)
            for other in self._overbias.keys() - {channel}:
                self._overbias[other].displaced()
        if now - self._stood[channel][1] < self._hold_s:
            return False
        recent = self._recent[channel]
        quiet = [v for t, v in recent.points if t >= now - self._hold_s]
        return len(quiet) >= 4 and max(quiet) - min(quiet) < 0.1 * self._reader.tolerance + 0.15

    def _searched(self, channel: Channel) -> Channel:
        """The channel whose peak is looked for: one at a time, because a turn of one trimmer moves both channels."""
        return next((c for c, over in self._overbias.items() if not over.peak.found), channel)

    def _degrees(self, channel: Channel) -> float | None:
        """Position of the trimmer, on a machine whose trimmers the program sees."""
        hands, name = self.bench.hands, self._reader.trimmer(channel)
        if hands is None:
            return None
        return next((t.degrees for t in hands.trimmers() if t.name == name), None)

    @property
    def _can_accept(self) -> bool:
        """Whether every gauge is steady, and those that are in have held for long enough."""
        return bool(self._gauges) and all(
            g.measured is not None and g.trend == "steady" and (g.held_s >= self._hold_s or g.verdict.word != "in")
            for g in self._gauges.values()
        )

    # ---------------------------------------------------------------- keys

    def go_on(self) -> None:
        """Start the tones; later accept, when all readings are in and have held."""
        if not self._going and self._tones is not None:
            self._start_sending(self._tones)
            return
        if not self._gauges:
            raise Problem("nothing was read yet; wait for the tone")
        for g in self._gauges.values():
            if g.verdict.word != "in":
                raise Problem(f"{g.label} is not in ({g.verdict.word}); turn further, or accept it with a reason")
            if g.held_s < self._hold_s:
                raise Problem(f"{g.label} does not hold still yet; take the hand off and wait a moment")
        self._keep("")

    def accept(self, reason: str) -> None:
        """Keep the present readings, although not all are in."""
        if not self._gauges:
            raise Problem("nothing was read yet; wait for the tone, or skip the step")
        self._keep(reason)

    def _keep(self, because: str) -> None:
        self.bench.keep(self.step, tuple(self._reader.judged(g) for g in self._gauges.values()), because)
        self.finished = True

    def view(self) -> View:
        """Gauges, trimmers, and what to do."""
        prompt = Prompt("go-on", f"{to_record(self.bench)}: start the tones", sounds=True)
        if self._going:
            accept = bool(self._gauges) and all(g.held_s >= self._hold_s for g in self._gauges.values())
            text = "In, and holding: accept it" if accept else "Turn until it is in and holds"
            if accept and any(_near_its_limit(g) for g in self._gauges.values()):
                text = "In, but near its limit: turn further, or accept it"
            if self.step.programme and not accept:
                text += f"; wait {WINDOW_S:g} s after a turn: the reading looks back so far"
            elif self._head_delay is not None and not accept:
                text += f"; wait {self._head_delay:.2f} s after a turn, the way from head to head"
            prompt = Prompt(WAIT.kind, text)
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
            head_delay_s=self._head_delay,
        )


def _near_its_limit(gauge: Gauge) -> bool:
    """Whether a reading that is in uses more than half of its tolerance, so that a small drift would put it out."""
    off, tolerance = gauge.off, gauge.verdict.tolerance
    return off is not None and tolerance is not None and abs(off) > 0.5 * tolerance
