"""The trimmers of an adjust step: their positions, the turns proposed for them, and the response of the reading."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from bench.measure.reading import Channel
from bench.practice.facts import TrimmerPosition
from bench.procedure.kinds.adjust.reader import ToneReader
from bench.procedure.kinds.bench import Bench
from bench.procedure.model.steps import Adjust
from bench.procedure.state.events import Learnt
from bench.procedure.state.snapshot import Gauge
from bench.procedure.state.trimmer_response import TrimmerResponse
from bench.words.figures import rotation

SMALLEST_TURN = 0.3
"""Smallest turn that is proposed, degrees; nobody can turn less on purpose."""


@dataclass(slots=True)
class TrimmerPlan:
    """One trimmer, and the turns proposed for it."""

    name: str
    channels: tuple[Channel, ...]
    """Channels that it sets."""
    response: TrimmerResponse
    degrees: float = 0.0
    """Its position; on a real machine counted from its first position."""
    turn_to: list[float] = field(default_factory=list)
    """Positions to turn it to, one after another."""

    def left(self) -> float:
        """Degrees clockwise to the next position; positions that were reached are dropped."""
        while self.turn_to and abs(self.turn_to[0] - self.degrees) < SMALLEST_TURN:
            self.turn_to.pop(0)
        return self.turn_to[0] - self.degrees if self.turn_to else 0.0

    def words(self) -> str:
        """The turns in words: "record level left 12° clockwise"; "" for none."""
        at, parts = self.degrees, []
        self.left()
        for degrees in self.turn_to:
            parts.append(rotation(degrees - at))
            at = degrees
        return f"{self.name} {', then '.join(parts)}" if parts else ""


class TrimmerPlans:
    """All trimmers of a step, with what earlier steps learnt about them."""

    def __init__(self, step: Adjust, bench: Bench, reader: ToneReader) -> None:
        self._step, self._bench, self._judged_hz = step, bench, reader.judged_hz
        self._plans: dict[str, TrimmerPlan] = {}
        for channel in reader.channels:
            name = reader.trimmer(channel)
            if name is None:
                continue
            if name in self._plans:
                self._plans[name].channels += (channel,)
                continue
            response = TrimmerResponse.recalled(bench.journal.events(), name, step.quantity, reader.judged_hz)
            response.begin_visit()
            self._plans[name] = TrimmerPlan(name, (channel,), response, response.stands_at)
        self.look()

    def __iter__(self) -> Iterator[TrimmerPlan]:
        return iter(self._plans.values())

    def look(self) -> None:
        """Read their positions, on a machine whose trimmers the program sees."""
        for plan in self:
            info = self._info(plan)
            if info is not None:
                plan.degrees = info.degrees

    def turned(self) -> None:
        """Note that the person has turned them; on a real machine the proposed turns count as made."""
        if self._bench.hands is None:
            for plan in self:
                plan.degrees = plan.turn_to[-1] if plan.turn_to else plan.degrees
        self.look()
        for plan in self:
            plan.turn_to.clear()

    def room(self, plan: TrimmerPlan) -> tuple[float, float]:
        """How far a trimmer can be turned anticlockwise (0 or less) and clockwise, degrees."""
        info = self._info(plan)
        return (info.low - info.degrees, info.high - info.degrees) if info is not None else (-1e9, 1e9)

    def words(self) -> str:
        """All turns in words; "" for none."""
        return "; ".join(words for plan in self if (words := plan.words()))

    def with_turn(self, gauge: Gauge) -> Gauge:
        """A gauge with the turn that is left. For a trimmer of both channels only the first one shows degrees."""
        plan = self._plans.get(gauge.trimmer or "")
        if plan is None:
            return gauge
        left = plan.left()
        if left and gauge.channel == plan.channels[0]:
            return replace(gauge, direction="", turn=left)
        return replace(gauge, direction=f"turn {rotation(left)}" if left else "hold", turn=None)

    def remember(self) -> None:
        """Keep what was learnt about them for later steps, and for a resumed session."""
        for plan in self:
            if plan.response.points:
                learnt = Learnt(plan.name, self._step.quantity, self._judged_hz, plan.response.readings)
                self._bench.note(self._step.id, learnt)

    def _info(self, plan: TrimmerPlan) -> TrimmerPosition | None:
        hands = self._bench.hands
        return next((t for t in hands.trimmers() if t.name == plan.name), None) if hands is not None else None
