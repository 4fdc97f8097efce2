"""`adjust` by a ladder: record numbered trimmer positions in one passage, then find the best. Rounds confirm it."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

from bench.figures import hertz
from bench.measure.catalogue import QUANTITIES
from bench.measure.reading import Channel, NoReading
from bench.procedure.kinds.activity import View
from bench.procedure.kinds.adjust.bias_peak import PASSED_DB, past_peak
from bench.procedure.kinds.adjust.recorded import RecordedAdjustActivity
from bench.procedure.kinds.adjust.rounds import LadderResult, RoundsActivity
from bench.procedure.kinds.adjust.trimmer_plans import TrimmerPlan
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.record.passage import Passage, to_record
from bench.procedure.model.steps import Adjust
from bench.procedure.model.targets import judge
from bench.procedure.state.snapshot import Curve, Gauge, Prompt

COME_UP = 12.0
"""The best position is approached from this many degrees below it, so that play is taken up as in the ladder."""

LADDERS = 3
"""Maximum number of ladders in a row; each is shifted when the one before did not contain the target."""

BEYOND_DB = 2.0
"""Positions whose level has fallen by up to this much more than is wanted show how fast it falls there. A choice."""

Phase = Literal["ready", "turn", "recording", "replaying"]


@dataclass(slots=True)
class Position:
    """One position of a ladder."""

    passage: Passage
    degrees: dict[str, float]
    """Where each trimmer stood."""
    readings: dict[Channel, tuple[float, float]] = field(default_factory=dict)
    """Reading and treble of each channel, dB; treble is 0 except for over-bias."""
    spread: float = 0.0
    """Standard uncertainty of a reading."""


class LadderActivity(RecordedAdjustActivity):
    """Records all positions, each behind a start mark, and finds the best; `then` gives the rounds that confirm it."""

    def __init__(self, step: Adjust, bench: Bench) -> None:
        super().__init__(step, bench)
        self._phase: Phase = "ready"
        self._because = ""
        self._ladders = 0
        self._positions: list[Position] = []
        """Positions of this ladder that were recorded."""
        self._middle: dict[str, float] = {}
        """Centre of this ladder, degrees of each trimmer."""
        self._rows: dict[Channel, list[tuple[float, float, float]]] = {}
        """By channel: degrees, reading, treble, of all ladders so far."""
        self._best: dict[Channel, float] = {}
        """Where each channel is on target, degrees."""
        self._peaks: dict[Channel, float] = {}

    def begin(self) -> None:
        """Centre the ladder on the present position of the trimmers."""
        self._lay({plan.name: plan.degrees for plan in self._plans})

    def _lay(self, middle: dict[str, float]) -> None:
        self._middle, self._positions, self._phase = middle, [], "ready"
        half = 0.5 * (self.step.positions - 1) * self.step.apart_degrees
        for plan in self._plans:
            low, high = self._plans.room(plan)
            # inside the stops where they are known; from the lower stop where the ladder is longer than the travel
            least, most = plan.degrees + low, plan.degrees + high - 2 * half
            plan.turn_to = self._come_up_to(plan, max(least, min(most, middle[plan.name] - half)))

    @property
    def _over_bias(self) -> bool:
        return self.step.quantity == "overbias"

    # ---------------------------------------------------------------- recording and replaying the positions

    def go_on(self) -> None:
        """Record the next position; during the replay, end it."""
        if self._phase in ("ready", "turn"):
            self._plans.turned()
            passage = self._record(waits=True, goes_on=bool(self._positions))
            self._positions.append(Position(passage, {plan.name: plan.degrees for plan in self._plans}))
            self._phase = "recording"
        elif self._passage is not None:
            self._passage.no_more()
            self._over(self._passage)

    def interrupted(self) -> None:
        """Record or replay again. On two heads the spoilt recording is on tape, so the whole ladder starts again."""
        if self._passage is None or self._phase in ("ready", "turn"):
            return
        if self._phase == "recording" and not self._passage.at_once:
            self.bench.silence()
            self.bench.transport("stop")
            self.wants_sound = False
            self._lay(self._middle)
        elif self._phase == "recording":
            self._read_anew()
            self._passage.again()
        else:
            self._replay()

    def _over(self, passage: Passage) -> None:
        """Go on after a position was recorded (two heads) or replayed."""
        number = next(n for n, position in enumerate(self._positions, start=1) if position.passage is passage)
        if passage.phase == "recorded":
            if number < self.step.positions:
                self._next_position()
            else:
                self.bench.transport("stop")
                self._replay()
            return
        self._because = passage.why_not
        self._take(self._positions[number - 1])
        if passage.at_once and number < self.step.positions and not passage.why_not:
            self.bench.silence()
            self._next_position()
        elif not passage.at_once and number < len(self._positions) and not passage.why_not:
            self._passage = self._positions[number].passage
            self._read_anew()
            self._passage.replay(goes_on=True)
        else:
            passage.stop()
            self.wants_sound = False
            self._find_best()

    def _next_position(self) -> None:
        for plan in self._plans:
            plan.turn_to = [plan.degrees + self.step.apart_degrees]
        self._phase = "turn"
        self.wants_sound = False

    def _replay(self) -> None:
        """Replay all positions from the first."""
        for position in self._positions:
            position.readings.clear()
        self._passage = self._positions[0].passage
        self._read_anew()
        self._passage.replay()
        self._phase = "replaying"
        self.wants_sound = True

    def _take(self, position: Position) -> None:
        for reading, offset in self._readings():
            treble = self._treble(reading.channel) if self._over_bias else 0.0
            if isinstance(reading, NoReading):
                self._because = self._because or reading.reason
            elif treble is None:
                self._because = self._because or "the lower tone was not heard"
            else:
                position.readings[reading.channel] = (reading.value - offset, treble)
                position.spread = max(position.spread, 0.5 * reading.uncertainty)

    # ---------------------------------------------------------------- the best of them

    def _find_best(self) -> None:
        """Find the best position of each trimmer; record another ladder where the readings do not contain it."""
        complete = len(self._positions) == self.step.positions
        if not complete or any(c not in p.readings for p in self._positions for c in self._reader.channels):
            self._because = self._because or "not all positions were heard"
            self.finished = True
            return
        self._because = ""
        for plan in self._plans:
            self._learn(plan)
        self._ladders += 1
        self._best = {c: best for c in self._reader.channels if (best := self._best_of(c)) is not None}
        if len(self._best) < len(self._reader.channels) and self._ladders < LADDERS:
            self._lay({plan.name: self._next_middle(plan) for plan in self._plans})
            return
        for plan in self._plans:
            if self._over_bias:
                self._learn_fall(plan)
            self._go_to_best(plan)
        self.finished = True

    def then(self) -> RoundsActivity:
        """The rounds that confirm the best position."""
        found = LadderResult(self._plans, self._curves(), self._named(), self._peaks, self._because)
        return RoundsActivity(self.step, self.bench, found)

    def _best_of(self, channel: Channel) -> float | None:
        """Where the channel is on target, degrees; None outside the recorded positions."""
        row = sorted(self._rows[channel])
        degrees = [d for d, _, _ in row]
        values = [v for _, v, _ in row]
        aim = self._reader.target.value
        if self._over_bias:
            found = past_peak(values, [t for _, _, t in row], aim)
            if found is None:
                return None
            self._peaks[channel] = found[1]
            n = min(len(degrees) - 2, int(found[0]))
            return degrees[n] + (found[0] - n) * (degrees[n + 1] - degrees[n])
        off = [v - aim for v in values]
        for n, (here, after) in enumerate(pairwise(off)):
            if here * after <= 0 and here != after:
                return degrees[n] + here / (here - after) * (degrees[n + 1] - degrees[n])
        return None

    def _learn(self, plan: TrimmerPlan) -> None:
        """Collect the readings by degrees; they also show the response of the trimmer to the rounds that follow."""
        aim = self._reader.target.value
        for position in self._positions:
            degrees = position.degrees[plan.name]
            for c in plan.channels:
                self._rows.setdefault(c, []).append((degrees, *position.readings[c]))
            if not self._over_bias:  # over-bias rises and falls: only past the peak has it one slope
                offs = [position.readings[c][0] - aim for c in plan.channels]
                plan.response.add(degrees, sum(offs) / len(offs), max(position.spread, 0.05 * self._reader.tolerance))

    def _learn_fall(self, plan: TrimmerPlan) -> None:
        """Show the rounds that follow which way and how fast the level falls past its peak."""
        aim = self._reader.target.value
        spread = max(0.05 * self._reader.tolerance, *(p.spread for p in self._positions))
        for c in plan.channels:
            if c not in self._best:
                continue
            row = sorted(self._rows[c])
            top = max(row, key=lambda at: at[1])[0]
            for degrees, value, _ in row:
                fall = self._peaks[c] - value
                is_past = (degrees - top) * (self._best[c] - top) > 0
                if is_past and PASSED_DB <= fall <= aim + BEYOND_DB:
                    plan.response.add(degrees, fall - aim, spread)
        plan.response.begin_visit()

    def _next_middle(self, plan: TrimmerPlan) -> float:
        """Centre of the next ladder: the best of this one, or one ladder further in the direction of the target."""
        here = [self._best[c] for c in plan.channels if c in self._best]
        if here:
            return sum(here) / len(here)
        if not self._over_bias:
            return plan.degrees + plan.response.turn_to(0.0)
        row = sorted(self._rows[plan.channels[0]])
        values, trebles = [v for _, v, _ in row], [t for _, _, t in row]
        more_bias_up = trebles[0] > trebles[-1]
        # if no fall was seen at less bias, move that way; otherwise the fall past the peak is too short
        start_shown = max(values) - values[0 if more_bias_up else -1] > PASSED_DB
        up = more_bias_up if start_shown else not more_bias_up
        span = self._positions[-1].degrees[plan.name] - self._positions[0].degrees[plan.name]
        ends = (row[0][0], row[-1][0])
        return ends[1] + 0.5 * span if up else ends[0] - 0.5 * span

    def _go_to_best(self, plan: TrimmerPlan) -> None:
        """Plan the turn to the best position, in the direction of the ladder so that play cancels."""
        here = [self._best[c] for c in plan.channels if c in self._best]
        if here:
            plan.turn_to = self._come_up_to(plan, sum(here) / len(here))
            return
        low, high = self._plans.room(plan)
        plan.turn_to = [plan.degrees + plan.response.turn_to(0.0, low=low, high=high)]

    def _come_up_to(self, plan: TrimmerPlan, degrees: float) -> list[float]:
        """The turns to a position, the last of them upwards."""
        if degrees > plan.degrees + COME_UP:
            return [degrees]
        return [max(degrees - COME_UP, plan.degrees + self._plans.room(plan)[0]), degrees]

    # ---------------------------------------------------------------- what is shown

    def view(self) -> View:
        """The positions so far, and the best one."""
        self._plans.look()
        gauges = tuple(self._waiting(c) for c in self._reader.channels)
        if self._phase in ("ready", "turn"):
            gauges = tuple(self._plans.with_turn(g) for g in gauges)
        return View(
            self._prompt(),
            gauges=gauges,
            curves=self._curves(),
            trimmers=self._reader.trimmers,
            head_delay_s=self._passage.head_delay_s if self._passage is not None else None,
        )

    def _waiting(self, channel: Channel) -> Gauge:
        reading = NoReading(self.step.quantity, channel, "the positions are not replayed yet")
        return self._gauge(reading, judge(reading, self._reader.target))

    def _curves(self) -> tuple[Curve, ...]:
        return tuple(curve for c in self._reader.channels if (curve := self._curve(c)).points)

    def _curve(self, channel: Channel) -> Curve:
        read = [
            (float(n), p.readings[channel]) for n, p in enumerate(self._positions, start=1) if channel in p.readings
        ]
        points = tuple((n, value) for n, (value, _) in read)
        peak, target = self._peaks.get(channel), self._reader.target.value
        aim = (peak - target if peak is not None else None) if self._over_bias else target
        return Curve(
            channel,
            f"{channel}, {hertz(self._reader.judged_hz)}",
            "position",
            points,
            "dBFS" if self._over_bias else QUANTITIES[self.step.quantity].unit,
            frequency_hz=self._reader.judged_hz,
            peak=max(points, key=lambda p: p[1]) if peak is not None and points else None,
            aim=aim,
            best=self._best_position(channel),
        )

    def _named(self) -> str:
        best = {c: self._best_position(c) for c in self._best}
        return ", ".join(f"{c} {number:.0f}" for c, number in best.items() if number is not None)

    def _best_position(self, channel: Channel) -> float | None:
        """Number of the recorded position nearest to the best, in the last ladder."""
        name = self._reader.trimmer(channel)
        if channel not in self._best or name is None or len(self._positions) < self.step.positions:
            return None
        first, last = self._positions[0].degrees[name], self._positions[-1].degrees[name]
        share = (self._best[channel] - first) / (last - first)
        number = 1 + round(share * (len(self._positions) - 1))
        return float(number) if 1 <= number <= self.step.positions else None

    def _prompt(self) -> Prompt:
        count = f"position {len(self._positions) + 1} of {self.step.positions}"
        turns = self._plans.words()
        match self._phase:
            case "ready":
                what = f"Turn {turns}. " if turns else ""
                return Prompt("go-on", f"{what}{to_record(self.bench)}, then go on: {count}", sounds=True)
            case "turn":
                return Prompt("go-on", f"Let it record. Turn {turns}, then go on: {count}")
            case "recording":
                text = f"Position {len(self._positions)} of {self.step.positions} is being recorded"
                return Prompt("wait", text)
            case _ if self._passage is not None:
                return self._passage.prompt
            case _:
                return Prompt("wait", "")
