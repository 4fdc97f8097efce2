"""`adjust` by rounds: turn, record, rewind, replay, judge, and again. The next turn comes of the rounds so far."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

from bench.audio.port import Block
from bench.measure.reading import Channel, NoReading, Reading, Result
from bench.measure.verdict import Verdict
from bench.practice.facts import TrimmerPosition
from bench.problem import Problem
from bench.procedure.kinds.activity import WAIT, Activity, Situation, View
from bench.procedure.kinds.adjust.readings import AdjustReader, label
from bench.procedure.kinds.adjust.trimmer_memory import recalled, remember
from bench.procedure.kinds.adjust.trimmer_response import Answering
from bench.procedure.kinds.record.passage import Passage
from bench.procedure.model.steps import Adjust
from bench.procedure.model.targets import judge
from bench.procedure.state.events import RoundsRecorded
from bench.procedure.state.snapshot import Curve, Gauge, Prompt
from bench.words.figures import hertz, rotation

SOUND_S = 4.0
"""The tones of a round."""

EDGE_S = 0.4
"""Left out at either end of them: flutter may have moved them against the mark."""

MIDDLE = 0.25
"""The part of the tolerance within which another round would not pay."""

SMALLEST_TURN = 0.3
"""Degrees that no hand turns on purpose."""

KEEP, AGAIN = "keep it", "one more round"

Phase = Literal["ready", "recording", "replaying", "turn", "nearly", "spent"]


@dataclass(slots=True)
class Turning:
    """One trimmer, and the way that was proposed for it."""

    name: str
    channels: tuple[Channel, ...]
    answering: Answering
    degrees: float = 0.0
    """Where it stands, as far as the program knows: counted from where it was met on a real machine."""
    legs: list[float] = field(default_factory=list)
    """Where to turn it next, one after another, on the same count."""

    def left(self) -> float:
        """What is left of the next leg; legs that were turned are done with."""
        while self.legs and abs(self.legs[0] - self.degrees) < SMALLEST_TURN:
            self.legs.pop(0)
        return self.legs[0] - self.degrees if self.legs else 0.0

    def in_words(self) -> str:
        """What is to be turned: "record level left 12° clockwise"."""
        at, parts = self.degrees, []
        self.left()
        for leg in self.legs:
            parts.append(rotation(leg - at))
            at = leg
        return f"{self.name} {', then '.join(parts)}" if parts else ""


class RoundsActivity(Activity):
    """Two heads, or three where live reading is not wanted: a round is recorded, replayed and judged."""

    def __init__(self, step: Adjust, situation: Situation) -> None:
        super().__init__(step, situation)
        if situation.is_file:
            raise Problem("a file cannot be adjusted")
        if not step.sends:
            raise Problem("rounds need tones to send; the reference tape is read live")
        self._step = step
        self._reader = AdjustReader(step, situation)
        self._phase: Phase = "ready"
        self._passage: Passage | None = None
        self._gauges: dict[Channel, Gauge] = {}
        self._turnings = self._made_turnings()
        self._rounds: dict[Channel, list[tuple[float, float]]] = {}
        self._round = 0
        self._because = ""
        self._at_stop = False

    def _made_turnings(self) -> dict[str, Turning]:
        """One for each trimmer of the step. What was learnt of it at an earlier step still holds."""
        out: dict[str, Turning] = {}
        for channel in self._reader.channels:
            name = self._reader.trimmer(channel)
            if name is None:
                continue
            if name in out:
                out[name] = replace(out[name], channels=(*out[name].channels, channel))
                continue
            learnt = recalled(self.situation, name, self._step.quantity, self._reader.judged_hz)
            learnt.begin_visit()
            out[name] = Turning(name, (channel,), learnt, learnt.stands_at)
        return out

    def end(self) -> None:
        """What was learnt holds at later steps, and after a break."""
        for turning in self._turnings.values():
            if turning.answering.points:
                remember(self.situation, self._step, turning.name, self._reader.judged_hz)
        super().end()

    def begin(self) -> None:
        """Nothing sounds before the person says so."""
        self._find_trimmers()

    # ---------------------------------------------------------------- trimmers

    def _info(self, name: str) -> TrimmerPosition | None:
        hands = self.situation.hands
        return next((t for t in hands.trimmers() if t.name == name), None) if hands is not None else None

    def _find_trimmers(self) -> None:
        """Where they stand: seen on a machine whose trimmers the program sees."""
        for turning in self._turnings.values():
            info = self._info(turning.name)
            if info is not None:
                turning.degrees = info.degrees

    def _turned(self) -> None:
        """The person goes on: on a real machine the proposed turns count as made."""
        if self.situation.hands is None:
            for turning in self._turnings.values():
                turning.degrees = turning.legs[-1] if turning.legs else turning.degrees
        self._find_trimmers()
        for turning in self._turnings.values():
            turning.legs.clear()

    def _room(self, turning: Turning) -> tuple[float, float]:
        info = self._info(turning.name)
        return (info.low - info.degrees, info.high - info.degrees) if info is not None else (-1e9, 1e9)

    # ---------------------------------------------------------------- one round

    def _make_passage(self) -> Passage:
        at_once = self.situation.job.machine.heads == 3
        return Passage(self.situation, self._reader.tones(SOUND_S), None, at_once=at_once)

    def _start(self) -> None:
        self._turned()
        self._round += 1
        self._reader.begin(SOUND_S - 2 * EDGE_S)
        self._passage = self._make_passage()
        self._passage.record()
        self._phase = "recording"
        self.wants_sound = True

    def hear(self, block: Block) -> None:
        """Record, then replay; the middle of what comes back is measured."""
        passage = self._passage
        if passage is None:
            return
        heard = passage.hear(block)
        if heard is not None:
            rate = self.situation.port.status.sample_rate
            first = max(0, round((EDGE_S - heard.at_s) * rate))
            last = round((SOUND_S - EDGE_S - heard.at_s) * rate)
            if last > first:
                self._reader.feed(heard.samples[first:last])
        if passage.phase == "recorded":
            self._recorded(passage)
        elif passage.phase == "over":
            self._replayed(passage)

    def _recorded(self, passage: Passage) -> None:
        self.situation.transport("stop")
        self._replay()

    def _replayed(self, passage: Passage) -> None:
        passage.stop()
        self.wants_sound = False
        self._because = passage.why_not
        self._judge_round()

    def interrupted(self) -> None:
        """The sound was lost: the recording, or the replay, begins again."""
        if self._passage is None:
            return
        if self._phase == "recording":
            self._round -= 1
            self._start()
        elif self._phase == "replaying":
            self._replay()

    def _replay(self) -> None:
        if self._passage is None:
            return
        self._reader.begin(SOUND_S - 2 * EDGE_S)
        self._passage.replay()
        self._phase = "replaying"
        self.wants_sound = True

    # ---------------------------------------------------------------- judging it

    def _read(self) -> list[tuple[Result, float]]:
        """What this round reads on each channel, and what is added to its target."""
        return self._reader.readings()

    def _judge_round(self) -> None:
        for raw, offset in self._read():
            reading = replace(raw, frequency_hz=self._reader.judged_hz)
            if isinstance(reading, NoReading) and self._because:
                reading = replace(reading, reason=self._because)
            verdict = judge(reading, self._reader.target, offset=offset)
            if isinstance(reading, Reading):
                self._rounds.setdefault(reading.channel, []).append((float(self._round), reading.value))
            self._gauges[reading.channel] = self._gauge(reading, verdict)
        for turning in self._turnings.values():
            self._propose(turning)
        self._at_stop = not any(t.legs for t in self._turnings.values()) and not self._because
        self._end_round()

    def _gauge(self, reading: Result, verdict: Verdict) -> Gauge:
        return Gauge(
            channel=reading.channel,
            label=label(self._step.quantity, reading.channel),
            reading=reading,
            verdict=verdict,
            trend="",
            direction="",
            trimmer=self._reader.trimmer(reading.channel),
            history=tuple(self._rounds.get(reading.channel, ())),
        )

    def _off(self, channel: Channel) -> tuple[float, float] | None:
        """How far a channel is off its target, and what it may be off by itself."""
        g = self._gauges.get(channel)
        if g is None or g.measured is None or g.off is None:
            return None
        return g.off, max(0.5 * g.measured.uncertainty, 0.02 * self._reader.tolerance)

    def _propose(self, turning: Turning) -> None:
        """The next turn, from all rounds so far; where one trimmer serves both channels, for their mean."""
        offs = [off for off in (self._off(c) for c in turning.channels) if off is not None]
        if not offs:
            return
        mean = sum(o for o, _ in offs) / len(offs)
        turning.answering.add(turning.degrees, mean, max(s for _, s in offs))
        low, high = self._room(turning)
        if any(abs(o) > MIDDLE * self._reader.tolerance for o, _ in offs):
            turn = turning.answering.turn_to(0.0, low=low, high=high)
            if abs(turn) >= SMALLEST_TURN:
                turning.legs = [turning.degrees + turn]

    def _end_round(self) -> None:
        """What is in and can't be nearer is kept by itself; else a turn or an answer is asked for."""
        all_in = all(g.verdict.word == "in" for g in self._gauges.values())
        more = any(t.left() for t in self._turnings.values()) or self._because
        spent = self._round >= self._step.at_most
        if all_in and (spent or not more):
            self._keep("")
        else:
            self._phase = "nearly" if all_in else "spent" if spent else "turn"

    # ---------------------------------------------------------------- keys

    def go_on(self) -> None:
        """Start the round; nothing more will be replayed; keep what is in."""
        match self._phase:
            case "ready" | "turn":
                self._start()
            case "replaying" if self._passage is not None and self._passage.phase != "over":
                self._passage.no_more()
                self._replayed(self._passage)
            case "nearly":
                self._keep("")
            case "spent":
                raise Problem(self._spent_text())
            case _:
                raise Problem("the tones are being recorded; wait, or stop the sound and repeat the step")

    def answer(self, text: str) -> None:
        """Whether another round is wanted; or why it is kept although it is not in."""
        if self._phase == "nearly":
            if text.strip().casefold() in (AGAIN, "2"):
                self._start()
            elif text.strip().casefold() in (KEEP, "1", ""):
                self._keep("")
            else:
                raise Problem(f'"{text}" is none of: {KEEP}, {AGAIN}')
        elif self._phase == "spent" and text.strip():
            self._keep(text)
        else:
            super().answer(text)

    def accept(self, reason: str) -> None:
        """Keep what the last round gave, although it is not in."""
        if not self._gauges or self._phase not in ("turn", "nearly", "spent"):
            raise Problem("nothing was read yet; do the round, or skip the step")
        self._keep(reason)

    def _keep(self, because: str) -> None:
        taken = tuple(self._reader.taken(g) for g in self._gauges.values())
        self.situation.note(self.step.id, RoundsRecorded(self._round))
        self.situation.keep(self.step, taken, because)
        self.finished = True

    def _counted(self) -> str:
        return "1 round" if self._round == 1 else f"{self._round} rounds"

    # ---------------------------------------------------------------- what is shown

    def view(self) -> View:
        """What was read, how far to turn, and what the machine should be doing."""
        self._find_trimmers()
        gauges = tuple(self._with_turn(c) for c in self._reader.channels if c in self._gauges)
        return View(
            self._prompt(),
            gauges=gauges,
            curves=self._curves(),
            trimmers=self._reader.trimmers,
            can_accept=self._phase in ("turn", "nearly", "spent"),
            head_delay_s=self._passage.head_delay_s if self._passage is not None else None,
        )

    def _with_turn(self, channel: Channel) -> Gauge:
        """The gauge with what is left to be turned."""
        gauge = self._gauges[channel]
        turning = self._turnings.get(gauge.trimmer or "")
        if turning is None or self._phase not in ("ready", "turn", "nearly"):
            return gauge
        left = turning.left()
        said = f"turn {rotation(left)}" if left else "hold"
        if left and channel == turning.channels[0]:
            return replace(gauge, direction="", turn=left)
        return replace(gauge, direction=said, turn=None)

    def _curves(self) -> tuple[Curve, ...]:
        return tuple(
            Curve(
                channel,
                f"{channel}, {hertz(self._reader.judged_hz)}",
                "round",
                tuple(points),
                self._gauges[channel].reading.unit,
                frequency_hz=self._reader.judged_hz,
                aim=self._gauges[channel].verdict.target,
            )
            for channel, points in self._rounds.items()
        )

    def _prompt(self) -> Prompt:
        at_once = self.situation.job.machine.heads == 3
        count = f"round {self._round + 1} of {self._step.at_most}"
        match self._phase:
            case "ready":
                return Prompt("go-on", f"{self._to_record()}, then go on: {count}, as it stands", sounds=True)
            case "recording":
                left_s = self._passage.left_s if self._passage is not None else None
                return Prompt(
                    WAIT.kind, "Tones are being recorded" + (" and replayed" if at_once else ""), left_s=left_s
                )
            case "replaying" if self._passage is not None:
                return self._passage.asks
            case "turn":
                turns = "; ".join(w for w in (t.in_words() for t in self._turnings.values()) if w)
                lost = "no reading; " if self._because else ""
                what = f"Turn {turns}. " if turns else ""
                if self._at_stop:
                    what = "It can't be turned further that way: accept it with a reason, or look for what is wrong. "
                return Prompt("go-on", f"{lost}{what}{self._to_record()}, then go on: {count}", sounds=True)
            case "nearly":
                turns = "; ".join(w for w in (t.in_words() for t in self._turnings.values()) if w)
                more = f"turn {turns} and record again" if turns else "record again"
                return Prompt("choice", f"In. Keep it, or {more}?", choices=(KEEP, AGAIN))
            case _:
                return Prompt("reason", self._spent_text())

    def _to_record(self) -> str:
        if self.situation.job.machine.heads == 3:
            return "Work tape in and recording, monitor on tape, loudspeakers down"
        return "Work tape in, wound to where it may be recorded over, recording; monitors down"

    def _spent_text(self) -> str:
        return f"{self._counted()} and it is not in. Repeat the step, or say why you go on."
