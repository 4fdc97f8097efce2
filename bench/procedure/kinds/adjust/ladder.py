"""`adjust` by a ladder: numbered trimmer positions recorded in one passage, the best named, then proved by rounds."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

from bench.measure.reading import Channel, NoReading, Result
from bench.procedure.kinds.activity import WAIT, Situation, View
from bench.procedure.kinds.adjust.bias_peak import PASSED_DB, past_peak
from bench.procedure.kinds.adjust.rounds import RoundsActivity, Turning
from bench.procedure.kinds.record.passage import Passage
from bench.procedure.model.steps import Adjust
from bench.procedure.model.targets import judge
from bench.procedure.state.snapshot import Curve, Gauge, Prompt
from bench.words.figures import hertz

COME_UP = 12.0
"""Degrees below the best position from which it is come up to, so that play is taken up as it was in the ladder."""

LADDERS = 3
"""How often a ladder is moved along when it did not hold what was looked for."""


class LadderActivity(RoundsActivity):
    """First all positions in one passage, with a mark ahead of each; then rounds from the best one."""

    def __init__(self, step: Adjust, situation: Situation) -> None:
        super().__init__(step, situation)
        self._climbing = True
        self._ladders = 0
        self._passages: list[Passage] = []
        self._at = 0
        self._read_at: dict[Channel, list[tuple[float, float, float]]] = {}
        """Of each channel: position, level or reading, treble; positions from 1."""
        self._stood: dict[str, list[float]] = {}
        """Of each trimmer: degrees at each position."""
        self._rows: dict[Channel, list[tuple[float, float, float]]] = {}
        """Of each channel: degrees, level or reading, treble; of all ladders so far."""
        self._best: dict[Channel, float] = {}
        """Where each channel is on target, degrees."""
        self._top: dict[Channel, float] = {}

    def begin(self) -> None:
        """The first position is half a ladder below where the trimmers stand."""
        super().begin()
        self._lay_ladder({name: t.degrees for name, t in self._turnings.items()})

    def _lay_ladder(self, middle: dict[str, float]) -> None:
        half = 0.5 * (self._step.positions - 1) * self._step.apart_degrees
        for name, turning in self._turnings.items():
            low, high = self._room(turning)
            # Inside the stops as far as they are known; all of it, where it is longer than the way between them.
            least, most = turning.degrees + low, turning.degrees + high - 2 * half
            turning.legs = self._come_up_to(turning, max(least, min(most, middle[name] - half)))
        self._at, self._passages = 0, []
        self._read_at, self._stood = {}, {name: [] for name in self._turnings}
        self._gauges = {c: self._waiting(c) for c in self._reader.channels}
        self._phase = "ready"
        self._ladders += 1

    def _waiting(self, channel: Channel) -> Gauge:
        reading = NoReading(self._step.quantity, channel, "the positions are not replayed yet")
        return self._gauge(reading, judge(reading, self._reader.target))

    # ---------------------------------------------------------------- recording the positions

    def _start(self) -> None:
        if not self._climbing:
            super()._start()
            return
        self._turned()
        for name, turning in self._turnings.items():
            self._stood[name].append(turning.degrees)
        passage = self._passage = self._make_passage()
        passage.record(goes_on=self._at > 0)
        self._passages.append(passage)
        self._reader.begin()
        self._at += 1
        self._phase = "recording"
        self.wants_sound = True

    def _recorded(self, passage: Passage) -> None:
        if not self._climbing:
            super()._recorded(passage)
        elif self._at < self._step.positions:
            self._next_position()
        else:
            super()._recorded(passage)

    def _next_position(self) -> None:
        for turning in self._turnings.values():
            turning.legs = [turning.degrees + self._step.apart_degrees]
        self._phase = "turn"
        self.wants_sound = False

    # ---------------------------------------------------------------- replaying them

    def _replay(self) -> None:
        if not self._climbing:
            super()._replay()
            return
        self._passage, self._read_at = self._passages[0], {}
        super()._replay()

    def _replayed(self, passage: Passage) -> None:
        if not self._climbing:
            super()._replayed(passage)
            return
        self._because = passage.why_not
        number = self._passages.index(passage) + 1
        self._take_position(number)
        if passage.at_once and number < self._step.positions and not passage.why_not:
            self.situation.silence()
            self._next_position()
        elif not passage.at_once and number < len(self._passages) and not passage.why_not:
            self._passage = self._passages[number]
            self._reader.begin()
            self._passage.replay(goes_on=True)
        else:
            passage.stop()
            self.wants_sound = False
            self._name_the_best()

    def _take_position(self, number: int) -> None:
        for reading, offset in self._reader.readings():
            if isinstance(reading, NoReading):
                self._because = self._because or reading.reason
                continue
            treble = self._reader.treble(reading.channel)
            row = self._read_at.setdefault(reading.channel, [])
            row.append((float(number), reading.value - offset, treble if treble is not None else 0.0))

    # ---------------------------------------------------------------- the best of them

    def _name_the_best(self) -> None:
        """Where each trimmer should stand by its row of readings; a row that does not hold it is laid anew."""
        whole = all(len(self._read_at.get(c, ())) == self._step.positions for c in self._reader.channels)
        if not whole:
            self._because = self._because or "not all positions were heard"
            self._climbing = False
            self._phase = "spent"
            return
        for turning in self._turnings.values():
            self._learn(turning)
        self._best = {c: b for c in self._reader.channels if (b := self._best_of(c)) is not None}
        if len(self._best) < len(self._reader.channels) and self._ladders < LADDERS:
            self._lay_ladder({name: self._moved_middle(t) for name, t in self._turnings.items()})
            return
        self._climbing = False
        for turning in self._turnings.values():
            self._go_to_best(turning)
        self._phase = "turn"

    def _best_of(self, channel: Channel) -> float | None:
        """Where the channel is on target, degrees; None beyond what was recorded."""
        row = sorted(self._rows[channel])
        degrees = [d for d, _, _ in row]
        values = [v for _, v, _ in row]
        aim = self._reader.target.value
        if self._step.quantity == "overbias":
            found = past_peak(values, [t for _, _, t in row], aim)
            if found is None:
                return None
            self._top[channel] = found[1]
            n = min(len(degrees) - 2, int(found[0]))
            return degrees[n] + (found[0] - n) * (degrees[n + 1] - degrees[n])
        off = [v - aim for v in values]
        for n, (here, after) in enumerate(pairwise(off)):
            if here * after <= 0 and here != after:
                return degrees[n] + here / (here - after) * (degrees[n + 1] - degrees[n])
        return None

    def _learn(self, turning: Turning) -> None:
        """Keep the row by degrees; it also tells how the reading answers to the trimmer, for the rounds that follow."""
        aim = self._reader.target.value
        for n, degrees in enumerate(self._stood[turning.name]):
            for c in turning.channels:
                _, value, treble = self._read_at[c][n]
                self._rows.setdefault(c, []).append((degrees, value, treble))
            if self._step.quantity != "overbias":  # that rises and falls
                offs = [self._read_at[c][n][1] - aim for c in turning.channels]
                turning.answering.add(degrees, sum(offs) / len(offs), 0.05 * self._reader.tolerance)

    def _position_at(self, name: str, degrees: float) -> float:
        """The position of this ladder at which a trimmer stands so, between two of them as a fraction."""
        stood = self._stood[name]
        return 1.0 + (degrees - stood[0]) / (stood[-1] - stood[0]) * (len(stood) - 1)

    def _moved_middle(self, turning: Turning) -> float:
        """Where the next ladder has its middle: this one's best, or one ladder on, the way in which it comes nearer."""
        here = [self._best[c] for c in turning.channels if c in self._best]
        if here:
            return sum(here) / len(here)
        stood = self._stood[turning.name]
        if self._step.quantity != "overbias":
            return turning.degrees + turning.answering.turn_to(0.0)
        row = sorted(self._rows[turning.channels[0]])
        values, trebles = [v for _, v, _ in row], [t for _, _, t in row]
        more_bias_up = trebles[0] > trebles[-1]
        # No fall on the side of less bias: move there; else the fall past the peak is not long enough.
        start_shown = max(values) - values[0 if more_bias_up else -1] > PASSED_DB
        up = more_bias_up if start_shown else not more_bias_up
        span = stood[-1] - stood[0]
        ends = (row[0][0], row[-1][0])
        return ends[1] + 0.5 * span if up else ends[0] - 0.5 * span

    def _go_to_best(self, turning: Turning) -> None:
        """To the best position, come up to as the ladder was climbed, so that play does not count."""
        here = [self._best[c] for c in turning.channels if c in self._best]
        if here:
            turning.legs = self._come_up_to(turning, sum(here) / len(here))
            return
        low, high = self._room(turning)
        turning.legs = [turning.degrees + turning.answering.turn_to(0.0, low=low, high=high)]

    def _come_up_to(self, turning: Turning, degrees: float) -> list[float]:
        """The legs to a place: up to it, from below where it lies behind."""
        if degrees > turning.degrees + COME_UP:
            return [degrees]
        return [max(degrees - COME_UP, turning.degrees + self._room(turning)[0]), degrees]

    def _read(self) -> list[tuple[Result, float]]:
        """Over-bias in the rounds of proof is told from the peak that the ladder found."""
        read = super()._read()
        if self._step.quantity != "overbias":
            return read
        out: list[tuple[Result, float]] = []
        for level, offset in read:
            top = self._top.get(level.channel)
            if isinstance(level, NoReading) or top is None:
                because = level.reason if isinstance(level, NoReading) else "the ladder did not find the peak"
                out.append((NoReading("overbias", level.channel, because), offset))
                continue
            tone = hertz(self._reader.judged_hz)
            over = replace(
                level,
                quantity="overbias",
                value=top - level.value,
                uncertainty=math.hypot(level.uncertainty, 0.1),
                reference=f"the peak of {tone}",
                method=f"fall of {tone} past the peak found by a ladder of {self._step.positions} positions",
            )
            out.append((over, offset))
        return out

    # ---------------------------------------------------------------- what is shown

    def view(self) -> View:
        """The positions so far, and the best of them."""
        view = super().view()
        curves = tuple(self._row_shown(channel) for channel in self._read_at)
        return replace(view, curves=(*curves, *view.curves), can_accept=view.can_accept and not self._climbing)

    def _row_shown(self, channel: Channel) -> Curve:
        points = tuple((n, v) for n, v, _ in self._read_at[channel])
        top, over = self._top.get(channel), self._step.quantity == "overbias"
        target = self._reader.target.value
        aim = (top - target if top is not None else None) if over else target
        return Curve(
            channel,
            f"{channel}, {hertz(self._reader.judged_hz)}",
            "position",
            points,
            "dBFS" if over else self._unit(channel),
            frequency_hz=self._reader.judged_hz,
            peak=max(points, key=lambda p: p[1]) if top is not None else None,
            aim=aim,
            best=self._best_position(channel),
        )

    def _best_position(self, channel: Channel) -> float | None:
        """The number of the position that is nearest to the best, in the last ladder."""
        name = self._reader.trimmer(channel)
        if channel not in self._best or name is None or len(self._stood[name]) < self._step.positions:
            return None
        at = round(self._position_at(name, self._best[channel]))
        return float(at) if 1 <= at <= self._step.positions else None

    def _unit(self, channel: Channel) -> str:
        gauge = self._gauges.get(channel)
        return gauge.reading.unit if gauge is not None else ""

    def _prompt(self) -> Prompt:
        if not self._climbing:
            return self._proving()
        turns = "; ".join(w for w in (t.in_words() for t in self._turnings.values()) if w)
        count = f"position {self._at + 1} of {self._step.positions}"
        if self._phase == "ready":
            turns = f"Turn {turns}. " if turns else ""
            return Prompt("go-on", f"{turns}{self._to_record()}, then go on: {count}", sounds=True)
        if self._phase == "turn":
            return Prompt("go-on", f"Let it record. Turn {turns}, then go on: {count}")
        if self._phase == "recording":
            return Prompt(WAIT.kind, f"Position {self._at} of {self._step.positions} is being recorded")
        return super()._prompt()

    def _proving(self) -> Prompt:
        prompt = super()._prompt()
        if self._round or self._phase != "turn" or not self._best:
            return prompt
        named = ", ".join(f"{c} {p:.0f}" for c in self._best if (p := self._best_position(c)) is not None)
        return replace(prompt, text=f"Best position: {named}. {prompt.text}") if named else prompt
