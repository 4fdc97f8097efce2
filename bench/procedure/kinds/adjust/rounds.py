"""`adjust` by rounds: turn, record, rewind, replay, judge, and again. The next turn follows from the rounds so far."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from bench.figures import hertz
from bench.measure.method import Method
from bench.measure.reading import Channel, NoReading, Reading, Result
from bench.problem import Problem
from bench.procedure.kinds.activity import View
from bench.procedure.kinds.adjust.guidance import left_alone, setting_tolerance
from bench.procedure.kinds.adjust.recorded import LONGER_S, RecordedAdjustActivity
from bench.procedure.kinds.adjust.trimmer_plans import SMALLEST_TURN, TrimmerPlan, TrimmerPlans
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.record.passage import Passage, to_record
from bench.procedure.model.steps import Adjust
from bench.procedure.model.targets import judge
from bench.procedure.state.events import RoundsRecorded
from bench.procedure.state.snapshot import Curve, Gauge, Prompt

PEAK_UNCERTAINTY_DB = 0.1
"""Uncertainty of the peak that a ladder found. A choice."""

BESIDE = 0.5
"""Fraction of the usual distance from the target at which a trimmer is turned too where another one needs a round."""

KEEP, AGAIN = "keep it", "one more round"

Phase = Literal["ready", "running", "turn", "nearly", "spent"]


@dataclass(frozen=True, slots=True)
class LadderResult:
    """What a ladder passes to the rounds that confirm it."""

    plans: TrimmerPlans
    curves: tuple[Curve, ...]
    named: str = ""
    """The best position of each channel: "left 5, right 6"."""
    peaks: Mapping[Channel, float] = field(default_factory=dict)
    """Over-bias: level of the peak of each channel, dBFS."""
    because: str = ""
    """Why the ladder found no best position; "" when it found one."""


class RoundsActivity(RecordedAdjustActivity):
    """Records, replays and judges one round after another: for two heads, or for three where the step says so.

    Args:
        step: what is adjusted.
        bench: the bench of the run.
        ladder: result of the ladder whose best position the rounds confirm.
    """

    def __init__(self, step: Adjust, bench: Bench, ladder: LadderResult | None = None) -> None:
        super().__init__(step, bench, ladder.plans if ladder is not None else None)
        self._ladder = ladder
        self._phase: Phase = "ready"
        self._gauges: dict[Channel, Gauge] = {}
        self._rounds: dict[Channel, list[tuple[float, float]]] = {}
        """By channel: number of the round, reading."""
        self._round = 0
        self._because = ""
        self._at_stop = False
        if ladder is not None:
            self._phase = "spent" if ladder.because else "turn"
            self._because = ladder.because
            why = ladder.because or "the best position is not recorded yet"
            for channel in self._reader.channels:
                reading = NoReading(step.quantity, channel, why, frequency_hz=self._reader.judged_hz)
                self._gauges[channel] = self._gauge(reading, judge(reading, self._reader.target))

    # ---------------------------------------------------------------- one round

    def _start(self) -> None:
        self._plans.turned()
        self._round += 1
        self._phase = "running"
        self._record()

    def interrupted(self) -> None:
        """Record, or replay, again."""
        if self._phase == "running" and self._passage is not None:
            self._read_anew()
            self._passage.again()

    def _over(self, passage: Passage) -> None:
        passage.stop()
        self.wants_sound = False
        self._because = passage.why_not
        self._judge_round()

    # ---------------------------------------------------------------- judging it

    def _read(self) -> list[tuple[Result, float]]:
        """The reading of this round on each channel, and the offset of its target."""
        readings = self._readings()
        if self.step.quantity != "overbias":
            return readings
        return [(self._past_peak(level), offset) for level, offset in readings]

    def _past_peak(self, level: Result) -> Result:
        """Over-bias: how far the tone is below the peak that the ladder found."""
        if isinstance(level, NoReading):
            return NoReading("overbias", level.channel, level.reason)
        peak = self._ladder.peaks.get(level.channel) if self._ladder is not None else None
        if peak is None:
            return NoReading("overbias", level.channel, "the ladder did not find the peak")
        tone = hertz(self._reader.judged_hz)
        return replace(
            level,
            quantity="overbias",
            value=peak - level.value,
            uncertainty=math.hypot(level.uncertainty, PEAK_UNCERTAINTY_DB),
            reference=f"the peak of {tone}",
            method=Method("fall past the peak", positions=self.step.positions),
        )

    def _judge_round(self) -> None:
        for raw, offset in self._read():
            reading = replace(raw, frequency_hz=self._reader.judged_hz)
            if isinstance(reading, NoReading) and self._because:
                reading = replace(reading, reason=self._because)
            rounds = self._rounds.setdefault(reading.channel, [])
            if isinstance(reading, Reading):
                rounds.append((float(self._round), reading.value))
            verdict = judge(reading, self._reader.target, offset=offset)
            self._gauges[reading.channel] = self._gauge(reading, verdict, tuple(rounds))
        for plan in self._plans:
            self._learn(plan)
        if any(self._propose(plan, 1.0) for plan in self._plans):
            for plan in self._plans:  # a round that is made for one trimmer costs nothing for another
                self._propose(plan, BESIDE)
        far = any(abs(g.off or 0.0) > self._close(g) for g in self._gauges.values())
        longer = self._sound_s < LONGER_S and any(map(self._too_close, self._gauges.values()))
        self._at_stop = far and not any(plan.turn_to for plan in self._plans) and not (self._because or longer)
        self._end_round(longer=longer)

    def _of(self, plan: TrimmerPlan) -> list[Gauge]:
        """The gauges of the channels that a trimmer sets, as far as there are readings."""
        return [g for g in (self._gauges[c] for c in plan.channels) if g.measured is not None and g.off is not None]

    def _learn(self, plan: TrimmerPlan) -> None:
        """Add this round to what is known of a trimmer: the mean of the channels that it sets."""
        gauges = self._of(plan)
        if gauges:
            spread = max(0.5 * _uncertainty(gauges), 0.02 * self._reader.tolerance)
            plan.response.add(plan.degrees, sum(g.off or 0.0 for g in gauges) / len(gauges), spread)

    def _propose(self, plan: TrimmerPlan, share: float) -> bool:
        """Plan the next turn from all rounds so far, if there is one; `share` is that of the distance that needs it."""
        gauges = self._of(plan)
        if not gauges:
            return False
        low, high = self._plans.room(plan)
        worth = share * self._close(gauges[0])
        if all(g.verdict.word == "in" for g in gauges):
            worth = max(worth, _uncertainty(gauges))  # a reading that is in is not turned by less than its uncertainty
        if any(abs(g.off or 0.0) > worth for g in gauges):
            turn = plan.response.turn_to(0.0, low=low, high=high)
            plan.turn_to = [plan.degrees + turn] if abs(turn) >= SMALLEST_TURN else []
        return bool(plan.turn_to)

    def _close(self, gauge: Gauge) -> float:
        """Distance from the target within which another round is not worthwhile."""
        return left_alone(self._reader.tolerance, gauge.reading.unit)

    def _too_close(self, gauge: Gauge) -> bool:
        """Whether the tape is too unsteady to see whether the trimmer is set."""
        if gauge.off is None or gauge.measured is None:
            return False
        setting = setting_tolerance(self._reader.tolerance, gauge.reading.unit)
        return abs(abs(gauge.off) - setting) < gauge.measured.uncertainty

    def _end_round(self, *, longer: bool) -> None:
        """Keep readings that are in and cannot come nearer; else ask for a longer recording, a turn or an answer."""
        if longer:
            self._sound_s = LONGER_S
        all_in = all(g.verdict.word == "in" for g in self._gauges.values())
        more = any(plan.left() for plan in self._plans) or self._because
        spent = self._round >= self.step.at_most
        if all_in and (spent or not (more or longer)):
            self._keep("")
        else:
            self._phase = "nearly" if all_in and not longer else "spent" if spent else "turn"

    # ---------------------------------------------------------------- keys

    def go_on(self) -> None:
        """Start a round; during the replay, end it; after the last round, keep readings that are in."""
        match self._phase:
            case "running" if self._passage is not None:
                self._passage.no_more()
                self._over(self._passage)
            case "nearly":
                self._keep("")
            case "spent":
                raise Problem(self._spent_text())
            case _:
                self._start()

    def answer(self, text: str) -> None:
        """Take the choice to do another round, or the reason to keep what is not in."""
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

    @property
    def _can_accept(self) -> bool:
        return self._phase in ("turn", "nearly", "spent") and bool(self._round or self._because)

    def accept(self, reason: str) -> None:
        """Keep the readings of the last round, although not all are in."""
        if not self._can_accept:
            raise Problem("nothing was read yet; do the round, or skip the step")
        self._keep(reason)

    def _keep(self, because: str) -> None:
        taken = tuple(self._reader.judged(g) for g in self._gauges.values())
        self.bench.note(self.step.id, RoundsRecorded(self._round))
        self.bench.keep(self.step, taken, because)
        self.finished = True

    def _counted(self) -> str:
        return "1 round" if self._round == 1 else f"{self._round} rounds"

    # ---------------------------------------------------------------- what is shown

    def view(self) -> View:
        """Readings, turns, and what to do at the machine."""
        self._plans.look()
        gauges = tuple(self._gauges[c] for c in self._reader.channels if c in self._gauges)
        if self._phase in ("turn", "nearly"):
            gauges = tuple(self._plans.with_turn(g) for g in gauges)
        ladder = self._ladder.curves if self._ladder is not None else ()
        return View(
            self._prompt(),
            gauges=gauges,
            curves=(*ladder, *self._curves()),
            trimmers=self._reader.trimmers,
            can_accept=self._can_accept,
            head_delay_s=self._passage.head_delay_s if self._passage is not None else None,
        )

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
            if points
        )

    def _prompt(self) -> Prompt:
        count = f"round {self._round + 1} of {self.step.at_most}"
        record = f"{to_record(self.bench)}, then go on: {count}"
        match self._phase:
            case "ready":
                return Prompt("go-on", f"{record}, as it is", sounds=True)
            case "running" if self._passage is not None:
                return self._passage.prompt
            case "turn":
                return Prompt("go-on", f"{self._what_to_turn()}{record}", sounds=True)
            case "nearly":
                turns = self._plans.words()
                more = f"turn {turns} and record again" if turns else "record again"
                return Prompt("choice", f"In. Keep it, or {more}?", choices=(KEEP, AGAIN))
            case _:
                return Prompt("reason", self._spent_text())

    def _what_to_turn(self) -> str:
        if self._at_stop:
            what = "It can't be turned further that way: accept it with a reason, or look for what is wrong. "
        else:
            turns = self._plans.words()
            what = f"Turn {turns}. " if turns else ""
            if not turns and self._sound_s == LONGER_S:
                what = "A longer recording shows it better. "
        if not self._round and self._ladder is not None and self._ladder.named:
            what = f"Best position: {self._ladder.named}. {what}"
        return f"no reading; {what}" if self._because else what

    def _spent_text(self) -> str:
        if self._ladder is not None and self._ladder.because:
            return f"No reading, because {self._ladder.because}. Repeat the step, or say why you go on."
        return f"{self._counted()} and it is not in. Repeat the step, or say why you go on."


def _uncertainty(gauges: list[Gauge]) -> float:
    """The largest uncertainty of their readings."""
    return max(g.measured.uncertainty for g in gauges if g.measured is not None)
