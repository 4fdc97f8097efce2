"""`adjust`: one quantity brought to its target while a trimmer is turned, read live."""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from typing import Literal

from bench.audio.port import Block
from bench.measure.names import Channel, Reading, no_reading
from bench.measure.watch import ToneWatch, WatchState
from bench.problem import Problem
from bench.procedure.kinds.base import WAIT, Activity, Heard, Situation, Taken, View
from bench.procedure.kinds.corrections import difference, expected_dbfs, with_tape
from bench.procedure.snapshot import Gauge, Prompt
from bench.procedure.steps import Adjust
from bench.procedure.targets import Target, Verdict, judge
from bench.signals.tones import Together, Tone

READ_EVERY_S = 0.1
"""How often the gauge is read."""

WINDOW_S = {"speed_error": 2.0, "azimuth_delay": 1.0}
"""How much of the last sound a gauge reads, where half a second is too little: flutter moves speed, weave azimuth."""

HISTORY_S = 60.0

TREND_S = 0.6
"""The trend is told from what the reading did in this time."""

HOLD_S = 0.8
"""In and still for this long, it may be accepted."""


class AdjustActivity(Activity):
    """Watches one or two tones and says how far they are from the target."""

    def __init__(self, step: Adjust, situation: Situation) -> None:
        super().__init__(step, situation)
        if situation.is_file:
            raise Problem("a file cannot be adjusted")
        if step.via in ("rounds", "ladder") or (step.sends and situation.job.machine.heads == 2):
            raise Problem("this machine cannot replay while it records")
        self._step = step
        self._target: Target = situation.job.target(step.target)
        self._heard: Heard = "reference tape" if step.plays is not None else "record-replay"
        self._watched = tuple(t.hz for t in step.sends)
        if step.plays is not None:
            self._watched = (situation.job.section(step.plays).hz,)
        self._judged_hz = step.frequency if step.frequency is not None else self._watched[0]
        self._watches: dict[float, ToneWatch] = {}
        self._frames = 0
        self._next_read = 0
        self._gauges: dict[Channel, Gauge] = {}
        self._history: dict[Channel, deque[tuple[float, float]]] = {}
        self._going = False

    # ---------------------------------------------------------------- start

    def begin(self) -> None:
        """The reference tape plays at once; tones are sent when the person says so."""
        if self._step.plays is not None:
            hands = self.situation.hands
            if hands is not None:
                hands.rewind(self._step.plays)
            self.situation.transport("play")
            self._listen()

    def _start_sending(self) -> None:
        reference = self.situation.job.machine.reference
        self.situation.transport("record")
        hands = self.situation.hands
        if hands is not None:
            hands.switch("monitor", "tape")
        rate = self.situation.port.status.sample_rate
        tones = [Tone(t.hz, reference.send_dbfs + t.db) for t in self._step.sends]
        self.situation.send(Together(tones, rate))
        self._listen()

    def _listen(self) -> None:
        status = self.situation.port.status
        wanted = {self._judged_hz}
        if self._step.reference_frequency is not None and self._step.sends:
            wanted.add(self._step.reference_frequency)
        window = WINDOW_S.get(self._step.quantity, 0.5)
        self._watches = {hz: ToneWatch(status.sample_rate, status.channels, hz, window_s=window) for hz in wanted}
        self._going = True
        self.wants_sound = True

    def interrupted(self) -> None:
        """The sound is back: what was watched before the loss does not count."""
        if self._going:
            self._listen()
            self._history.clear()

    # ---------------------------------------------------------------- reading

    def hear(self, block: Block) -> None:
        """Watch the tones; read the gauge ten times a second."""
        for watch in self._watches.values():
            watch.feed(block.samples)
        self._frames += len(block.samples)
        rate = self.situation.port.status.sample_rate
        if self._frames >= self._next_read:
            self._next_read = self._frames + round(READ_EVERY_S * rate)
            now = self._frames / rate
            for reading, offset in self._readings():
                self._gauges[reading.channel] = self._gauge(reading, offset, now)

    def _readings(self) -> list[tuple[Reading, float]]:
        """What the quantity reads now on each channel, and what is added to its target."""
        state = self._watches[self._judged_hz].now()
        step, job = self._step, self.situation.job
        section = job.section(step.plays) if step.plays is not None else None
        if not state.tone_present:
            return [(no_reading(step.quantity, c, self._why_not(state)), 0.0) for c in self._channels()]
        match step.quantity:
            case "level" if section is not None:
                return [(with_tape(r, job), expected_dbfs(job, section)) for r in state.levels]
            case "response" if section is not None:
                return [(with_tape(self._from_tape(r), job), 0.0) for r in state.levels]
            case "azimuth_delay":
                delays = [r for r in state.azimuth if r.quantity == "azimuth_delay"]
                if not delays:
                    return [(no_reading("azimuth_delay", "left-right", "it needs two channels"), 0.0)]
                return [(with_tape(r, job) if section is not None else r, 0.0) for r in delays]
            case "speed_error" if section is not None:
                return [(with_tape(_both(state.speed), job), 0.0)]
            case "record_replay_level":
                return [(self._sent_and_back(r), 0.0) for r in state.levels]
            case "response":
                return [(r, 0.0) for r in self._response(state)]
            case _:
                raise Problem(f"{step.quantity} can't be adjusted on what this step plays")

    def _why_not(self, state: WatchState) -> str:
        if state.other_tone_hz is not None:
            return f"a tone of {state.other_tone_hz:.0f} Hz is heard, not {self._judged_hz:g} Hz"
        return state.reason

    def _channels(self) -> tuple[Channel, ...]:
        if self._step.quantity == "azimuth_delay":
            return ("left-right",)
        if self._step.quantity == "speed_error":
            return ("both",)
        return ("left", "right") if self.situation.port.status.channels > 1 else ("mono",)

    def _from_tape(self, level: Reading) -> Reading:
        """Response from the reference tape: relative to the level that was last found there at low frequency."""
        job = self.situation.job
        section = job.section(self._step.plays or "")
        zero, spread = self._level_error(level.channel)
        return difference(
            "response",
            level,
            expected_dbfs(job, section) + zero,
            spread,
            reference="the level section of the reference tape",
            method=f"{level.method}, relative to the level section",
        )

    def _level_error(self, channel: Channel) -> tuple[float, float]:
        """How far the last level from the reference tape was from its target, with its uncertainty, dB."""
        for record in reversed(self.situation.journal.records()):
            r, v = record.reading, record.verdict
            of_tape = record.source == "reference tape" and r.quantity == "level" and r.channel == channel
            if of_tape and r.value is not None and v is not None and v.target is not None:
                return r.value - v.target, r.uncertainty or 0.0
        return 0.0, 0.0

    def _sent_db(self, hz: float) -> float:
        return next(t.db for t in self._step.sends if t.hz == hz)

    def _sent_and_back(self, level: Reading) -> Reading:
        reference = self.situation.job.machine.reference
        sent = self._sent_db(self._judged_hz)
        return difference(
            "record_replay_level",
            level,
            reference.replay_dbfs + sent,
            0.0,
            reference=f"the level sent ({sent:+g} dB re {reference.fluxivity_nwb_m:g} nWb/m)",
            method=f"{level.method}, replayed less sent",
        )

    def _response(self, state: WatchState) -> list[Reading]:
        zero_hz = self._step.reference_frequency
        if zero_hz is None:
            raise Problem("a response needs reference_frequency")
        base = self._watches[zero_hz].now()
        if not base.tone_present:
            return [no_reading("response", c, base.reason) for c in self._channels()]
        apart = self._sent_db(self._judged_hz) - self._sent_db(zero_hz)
        out = []
        for level, zero in zip(state.levels, base.levels, strict=True):
            if zero.value is None or zero.uncertainty is None:
                out.append(no_reading("response", level.channel, f"{zero_hz:g} Hz: {zero.reason}"))
                continue
            out.append(
                difference(
                    "response",
                    level,
                    zero.value + apart,
                    zero.uncertainty,
                    reference=f"{zero_hz:g} Hz at {self._sent_db(zero_hz):+g} dB",
                    method=f"{level.method}, recorded to replayed, relative to {zero_hz:g} Hz",
                )
            )
        return out

    # ---------------------------------------------------------------- the gauge

    def _gauge(self, reading: Reading, offset: float, now: float) -> Gauge:
        reading = replace(reading, frequency_hz=self._judged_hz)
        verdict = judge(reading, self._target, offset=offset)
        history = self._history.setdefault(reading.channel, deque())
        before = self._gauges.get(reading.channel)
        held = 0.0
        trend: Literal["", "rising", "falling", "steady"] = ""
        if reading.value is not None:
            history.append((now, reading.value))
            while history and history[0][0] < now - HISTORY_S:
                history.popleft()
            trend = _trend(history, now, still=0.1 * (verdict.tolerance or 1.0))
            if verdict.word == "in" and trend == "steady":
                held = (before.held_s if before else 0.0) + READ_EVERY_S
        return Gauge(
            channel=reading.channel,
            label=_label(reading),
            reading=reading,
            verdict=verdict,
            trend=trend,
            direction=_direction(reading, verdict),
            trimmer=self._trimmer(reading.channel),
            held_s=held,
            history=tuple(history),
        )

    def _trimmer(self, channel: Channel) -> str | None:
        trimmers = self._step.trimmers
        if channel in ("left", "right") and channel in trimmers:
            return trimmers[channel]
        return trimmers.get("both")

    @property
    def _can_accept(self) -> bool:
        """Every gauge reads and holds still; one that is in has held for long enough."""
        return bool(self._gauges) and all(
            g.reading is not None
            and g.reading.value is not None
            and g.trend == "steady"
            and (g.held_s >= HOLD_S or g.verdict is None or g.verdict.word != "in")
            for g in self._gauges.values()
        )

    # ---------------------------------------------------------------- keys

    def go_on(self) -> None:
        """Start the tones; then accept, when all is in and has held."""
        if not self._going:
            self._start_sending()
            return
        if not self._gauges:
            raise Problem("nothing was read yet; wait for the tone")
        for g in self._gauges.values():
            if g.verdict is None or g.verdict.word != "in":
                word = g.verdict.word if g.verdict is not None else "no reading"
                raise Problem(f"{g.label} is not in ({word}); turn on, or accept it with a reason")
            if g.held_s < HOLD_S:
                raise Problem(f"{g.label} does not hold still yet; take the hand off and wait a moment")
        self._keep("")

    def accept(self, reason: str) -> None:
        """Keep what the gauge says, although it is not in."""
        if not self._gauges:
            raise Problem("nothing was read yet; wait for the tone, or skip the step")
        self._keep(reason)

    def _keep(self, because: str) -> None:
        played = self.situation.job.section(self._step.plays).db if self._step.plays is not None else None
        sent = next((t.db for t in self._step.sends if t.hz == self._judged_hz), played)
        taken = tuple(Taken(g.reading, g.verdict, self._heard, sent) for g in self._gauges.values() if g.reading)
        self.situation.keep(self.step, taken, because)
        self.finished = True

    def view(self) -> View:
        """Gauges, trimmers and what the one key does now."""
        prompt = Prompt("go-on", "Work tape in and recording, monitor on tape, loudspeakers down: start the tones")
        if self._going:
            accept = bool(self._gauges) and all(g.held_s >= HOLD_S for g in self._gauges.values())
            prompt = Prompt(WAIT.kind, "In, and holding: accept it" if accept else "Turn until it is in and holds")
        return View(
            prompt,
            gauges=tuple(self._gauges[c] for c in self._channels() if c in self._gauges),
            trimmers=tuple(self._step.trimmers.values()),
            can_accept=self._going and self._can_accept,
        )


def _both(readings: tuple[Reading, ...]) -> Reading:
    """One reading of what both channels must agree in: their mean."""
    values = [r for r in readings if r.value is not None and r.uncertainty is not None]
    if not values:
        return replace(readings[0], channel="both")
    return replace(
        values[0],
        channel="both",
        value=sum(r.value or 0.0 for r in values) / len(values),
        uncertainty=sum(r.uncertainty or 0.0 for r in values) / len(values),
        method=f"{values[0].method}, mean of the channels",
    )


def _label(reading: Reading) -> str:
    names = {
        "level": "level",
        "response": "response",
        "azimuth_delay": "delay, right after left",
        "speed_error": "speed error",
        "record_replay_level": "record-to-replay level",
    }
    name = names.get(reading.quantity, reading.quantity)
    return f"{reading.channel} {name}" if reading.channel in ("left", "right") else name


def _direction(reading: Reading, verdict: Verdict) -> str:
    """Which way the reading has to go, and how far."""
    if reading.value is None or verdict.target is None:
        return ""
    off = reading.value - verdict.target
    if verdict.tolerance is not None and abs(off) < 0.1 * verdict.tolerance:
        return "hold"
    return f"{'lower' if off > 0 else 'raise'} by {abs(off):.2f} {reading.unit.removesuffix('FS')}"


def _trend(
    history: deque[tuple[float, float]], now: float, *, still: float
) -> Literal["", "rising", "falling", "steady"]:
    recent = [v for t, v in history if t >= now - TREND_S]
    if len(recent) < 4:
        return ""
    half = len(recent) // 2
    moved = sum(recent[-half:]) / half - sum(recent[:half]) / half
    if abs(moved) <= still:
        return "steady"
    return "rising" if moved > 0 else "falling"
