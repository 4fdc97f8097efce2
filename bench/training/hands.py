"""Unattended hands: they see only snapshots, as a person at the bench does, and answer with commands."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import ClassVar

from bench.audio.port import Instruments
from bench.procedure.kinds.by_hand.name_causes import ENOUGH, NOT_THIS
from bench.procedure.run.commands import Accept, Answer, Command, GoOn, Tick, Turn
from bench.procedure.state.snapshot import Gauge, Snapshot
from bench.training.read_by_eye import Eye

FIRST_TURN = 6.0
"""First turn of a trimmer, degrees, which shows its direction."""

LARGEST_TURN = 60.0
MOST_TURNS = 60
"""After this many turns of one trimmer at one step, the hands give up and accept with a reason."""


@dataclass(slots=True)
class _Trimmer:
    """What the hands have learnt about one trimmer: how the reading responds to a turn."""

    per_degree: float | None = None
    turns: int = 0
    last_turn: float = 0.0
    last_error: float | None = None
    last_variation: float = 0.0
    """How much the last error could vary without a turn."""

    def at_stop(self, error: float, limits: tuple[float, float]) -> bool:
        """Whether it can't be turned further in the direction that would help."""
        if not self.per_degree:
            return False
        wanted = -error / self.per_degree
        return (limits[1] if wanted > 0 else -limits[0]) < SMALLEST_TURN


@dataclass(slots=True)
class UnattendedHands:
    """Carries out a procedure as a careful person would who reads every gauge.

    The hands learn from the readings how a trimmer responds: by a first turn, and then by the slope of the last turn. A
    turn that changed nothing was taken up by backlash and is repeated; a turn that made the reading worse shows the
    right direction.
    """

    waits: ClassVar[bool] = True
    """Whether timers are waited for."""
    answers: dict[str, str] = field(default_factory=dict)
    """Answers to `entry` and `sign-off` steps by step id."""
    override: str = ""
    """The reason for an interlock that asks for one; with "" the run ends there."""
    instruments: Instruments | None = None
    """Instruments at the interface, for steps that ask for their readings."""
    eye: Eye = field(default_factory=Eye)
    stopped_because: str = ""
    """Why the hands stopped; "" if they did not."""
    _learnt: dict[tuple[str, str], _Trimmer] = field(default_factory=dict)
    _responses: dict[tuple[str, str], float] = field(default_factory=dict)
    """Change of a quantity per degree of a trimmer."""
    _step_id: str = ""
    _wait_until: float = 0.0
    _read_at: dict[str, float] = field(default_factory=dict)
    """Time of each channel's last reading at this step."""
    _proposals_done: set[str] = field(default_factory=set)
    """Trimmers turned as proposed since the last reading."""

    def decide(self, snapshot: Snapshot, now: float) -> Command | None:
        """The next command; None to wait."""
        step, prompt = snapshot.step, snapshot.prompt
        if step is None:
            return None
        if step.id != self._step_id:
            self._step_id, self._wait_until = step.id, now  # readings are still settling at the start of a step
            self._proposals_done.clear()
            self._read_at.clear()
        if prompt.kind == "go-on" and not all(check.ticked for check in snapshot.checks):
            return Tick(next(n for n, check in enumerate(snapshot.checks) if not check.ticked))
        if prompt.kind in ("go-on", "confirm"):
            turn = self._proposed_turn(snapshot)
            if turn is None:
                self._proposals_done.clear()
            return turn or GoOn()
        if prompt.kind == "reason":
            return self._reason(snapshot)
        if prompt.kind == "choice" and snapshot.gauges:
            return self._keep_or_turn(snapshot)
        if prompt.instrument and now < self._wait_until + LOOK_S:
            return None
        if prompt.kind in ("number", "choice", "words"):
            return Answer(self._answer(snapshot))
        return self._adjust(snapshot, now) if snapshot.gauges else None

    def _reason(self, snapshot: Snapshot) -> Command | None:
        if not snapshot.prompt.interlock:
            return Accept("unattended: nobody was there to judge")
        if self.override:
            return Answer(self.override)
        self.stopped_because = f"stopped before {snapshot.step.title if snapshot.step else ''}: {snapshot.prompt.text}"
        return None

    def _proposed_turn(self, snapshot: Snapshot) -> Command | None:
        """The first proposed turn not yet made, limited to the trimmer's end stops."""
        for gauge in snapshot.gauges:
            if gauge.turn is None or gauge.trimmer is None:
                continue
            low, high = _limits(snapshot, gauge.trimmer)
            degrees = max(low, min(high, gauge.turn))
            turn_key = f"{gauge.trimmer} {'+' if degrees > 0 else '-'}"  # turning down and up again counts as two turns
            if turn_key not in self._proposals_done and abs(degrees) >= SMALLEST_TURN:
                self._proposals_done.add(turn_key)
                return Turn(gauge.trimmer, degrees)
        return None

    def _keep_or_turn(self, snapshot: Snapshot) -> Command:
        """If everything is in, do another round only if a turn is proposed."""
        turn = self._proposed_turn(snapshot)
        if turn is not None:
            return turn
        again = bool(self._proposals_done)
        self._proposals_done.clear()
        return Answer(snapshot.prompt.choices[-1 if again else 0])

    def _answer(self, snapshot: Snapshot) -> str:
        step, prompt = snapshot.step, snapshot.prompt
        if step is not None and step.id in self.answers:
            answer = self.answers[step.id]
            known = answer.isdecimal() or all(part.strip() in prompt.choices for part in answer.split(";"))
            if prompt.kind == "number":
                return self.eye.read(float(answer), prompt.unit)
            if prompt.kind != "choice" or known:
                return answer
            return ENOUGH if ENOUGH in prompt.choices else [c for c in prompt.choices if c != NOT_THIS][-1]
        if prompt.kind == "choice":
            return prompt.choices[0]
        if prompt.kind != "number":
            return "unattended rehearsal"
        read = self.instruments.reading_in(prompt.unit, prompt.instrument) if self.instruments is not None else None
        return "0" if read is None else self.eye.read(read, prompt.unit)

    def _adjust(self, snapshot: Snapshot, now: float) -> Command | None:
        """Turn the trimmer of the worst gauge that a turn helps; accept when none does."""
        if now < self._wait_until:
            return None
        if not any(g.advice for g in snapshot.gauges):
            return None  # gauges are not live: a round or a ladder proposes its own turns
        gauges = self._not_silent(snapshot, now)
        if not gauges:
            return Accept("unattended: nothing can be read")
        looking = any(g.advice == "look" for g in gauges) and now < self._wait_until + PATIENCE_S
        if any(g.turn is not None for g in gauges):
            return self._search(snapshot, now, looking)
        if any(g.measured is None for g in gauges):
            return None
        silent = len(gauges) < len(snapshot.gauges)
        can_accept = silent or snapshot.can_accept
        done = Accept("unattended: one channel can't be read") if silent else GoOn()
        worst = max(gauges, key=lambda g: (g.advice == "turn", _error_in_tolerances(g)))
        if worst.advice != "turn":
            if looking or not can_accept:
                return None
            if all(g.verdict.word == "in" for g in gauges):
                return done
            return Accept("unattended: as near as the reading shows")
        trimmer = worst.trimmer
        if trimmer is None:
            return Accept("unattended: there is no trimmer for it") if can_accept else None
        known = self._known(trimmer, worst)
        stuck = known.at_stop(_error(worst), _limits(snapshot, trimmer))
        if stuck or known.turns >= MOST_TURNS:
            if all(g.verdict.word == "in" for g in gauges):
                return done if can_accept else None
            why = "is at its stop" if stuck else f"was adjusted {MOST_TURNS} times"
            return Accept(f"unattended: {trimmer} {why} and it is not in")
        degrees = self._turn(known, worst, _limits(snapshot, trimmer))
        self._wait_until = now + max(SETTLE_S, (snapshot.head_delay_s or 0.0) + 0.2)
        return Turn(trimmer, degrees)

    def _not_silent(self, snapshot: Snapshot, now: float) -> list[Gauge]:
        """The gauges, without those that have had no reading for so long that none will come."""
        for gauge in snapshot.gauges:
            if gauge.measured is not None or gauge.advice != "look":
                self._read_at[gauge.channel] = now
        return [g for g in snapshot.gauges if now - self._read_at.setdefault(g.channel, now) < PATIENCE_S]

    def _search(self, snapshot: Snapshot, now: float, looking: bool) -> Command | None:
        """Search for a peak with the proposed turns, all of them before looking again."""
        turn = None if looking and not self._proposals_done else self._proposed_turn(snapshot)
        if looking and turn is None:
            return None
        if not isinstance(turn, Turn):
            self._proposals_done.clear()
            self._wait_until = now + max(SETTLE_S, (snapshot.head_delay_s or 0.0) + 0.2)
            return None
        self._wait_until = now + max(SETTLE_S, (snapshot.head_delay_s or 0.0) + 0.2)
        known = self._learnt.setdefault((self._step_id, turn.trimmer), _Trimmer())
        known.turns += 1
        # Beyond the peak the same direction continues, but the last reading was taken at another position.
        known.last_turn, known.last_error = turn.degrees, None
        if known.turns > MOST_TURNS:
            return Accept(f"unattended: {turn.trimmer} was adjusted {MOST_TURNS} times and the peak was not found")
        return turn

    def _known(self, trimmer: str, gauge: Gauge) -> _Trimmer:
        """What is known about a trimmer at this step, with the response learnt at earlier steps."""
        key, response = (self._step_id, trimmer), (trimmer, gauge.reading.quantity)
        if key not in self._learnt:
            self._learnt[key] = _Trimmer(self._responses.get(response))
        known = self._learnt[key]
        if known.per_degree is not None:
            self._responses[response] = known.per_degree
        return known

    @staticmethod
    def _turn(known: _Trimmer, gauge: Gauge, limits: tuple[float, float]) -> float:
        error = _error(gauge)
        degrees = math.copysign(FIRST_TURN, known.last_turn)
        if known.last_error is not None:
            moved = error - known.last_error
            slope = moved / known.last_turn
            usual = known.per_degree
            if abs(moved) > math.hypot(_random_variation(gauge), known.last_variation) and (
                usual is None or slope / usual < 0 or slope / usual > BACKLASH_FRACTION
            ):
                known.per_degree = slope
            degrees = known.last_turn * 2
        if known.per_degree:
            degrees = -error / known.per_degree
        low, high = limits
        degrees = max(-LARGEST_TURN, min(LARGEST_TURN, degrees))
        if abs(degrees) < SMALLEST_TURN:
            degrees = SMALLEST_TURN if degrees >= 0 else -SMALLEST_TURN
        if not low <= degrees <= high:
            degrees = low if degrees < low else high
            if abs(degrees) < SMALLEST_TURN:
                degrees = -FIRST_TURN if high < SMALLEST_TURN else FIRST_TURN
        known.turns += 1
        known.last_turn, known.last_error, known.last_variation = degrees, error, _random_variation(gauge)
        return degrees


LOOK_S = 3.0
"""How long the hands look at a meter before they read it."""

SMALLEST_TURN = 0.2
BACKLASH_FRACTION = 0.3
"""A response below this fraction of the usual slope means that backlash took up the turn."""

SETTLE_S = 1.2
"""Wait after a turn for the gauge's shortest window; longer where the delay between heads is known."""

PATIENCE_S = 40.0
"""Longest look before turning or accepting although the average is not known well enough, or there is no reading."""


def _limits(snapshot: Snapshot, trimmer: str) -> tuple[float, float]:
    """How far a trimmer can still be turned in either direction, from its visible position."""
    for t in snapshot.trimmers:
        if t.name == trimmer:
            return t.low - t.degrees, t.high - t.degrees
    return -LARGEST_TURN, LARGEST_TURN


def _error(gauge: Gauge) -> float:
    """The reading minus its target, in its own unit."""
    return gauge.off if gauge.off is not None else 0.0


def _error_in_tolerances(gauge: Gauge) -> float:
    return abs(_error(gauge)) / gauge.verdict.tolerance if gauge.verdict.tolerance else 0.0


def _random_variation(gauge: Gauge) -> float:
    """How much an average can vary without a turn: half of its uncertainty."""
    spread = gauge.measured.uncertainty if gauge.measured is not None else 0.0
    return max(0.5 * spread, 0.02 * (gauge.verdict.tolerance or 0.0))
