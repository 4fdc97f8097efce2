"""A technician at the bench screen: turns the decisions of the hands into keys, and counts the keys."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from textual.pilot import Pilot

from bench.clock import RehearsalClock
from bench.procedure.run import commands as say
from bench.procedure.state.snapshot import Snapshot
from bench.training.hands import UnattendedHands
from bench.tui import presentation
from bench.tui.learned_turns import LearnedTurns
from bench.tui.screens.bench import BenchScreen
from tests.tui.screen_driver import screen_text, until

NEAR_DEGREES = 1.0
"""A turn that differs from the proposed one by less is made as proposed."""


@dataclass
class Keys:
    """Translates commands into keys, and counts them."""

    by_step: Counter[str] = field(default_factory=Counter)
    """Keys at each step, by its id."""
    turned: int = 0
    """Number of keys that turned a trimmer."""
    _picked: str = ""
    _runs_on: bool = False
    _turns_at: str = ""
    """The step at which proposed turns are made automatically."""
    _seen: object = None

    @property
    def pressed(self) -> int:
        """Number of all keys."""
        return self.by_step.total()

    def giving(self, command: say.Command, seen: Snapshot) -> list[str]:
        """The keys of a command; none where steps follow automatically."""
        if presentation.step_and_prompt(seen) != self._seen:
            self._seen, self._picked = presentation.step_and_prompt(seen), ""
        self._runs_on = self._runs_on and presentation.runs_on(seen)
        keys = list(self._of(command, seen))
        self.by_step[seen.step.id if seen.step is not None else ""] += len(keys)
        return keys

    def _of(self, command: say.Command, seen: Snapshot) -> Iterator[str]:
        match command:
            case say.GoOn() if presentation.runs_on(seen) and seen.prompt.kind == "go-on":
                if not self._runs_on:
                    self._runs_on = True
                    yield "p"
            case say.GoOn():
                yield "space"
            case say.Tick(index):
                yield str(index + 1)
            case say.Answer(text) if seen.prompt.kind == "choice":
                yield str(seen.prompt.choices.index(text) + 1)
            case say.Answer(text):
                yield from ("space" if c == " " else c for c in text)
                yield "enter"
            case say.Accept():
                near = seen.gauges and all(gauge.advice == "hold" for gauge in seen.gauges)
                yield from ("a", *("" if near else "because"), "enter")
            case say.Turn(trimmer, degrees):
                yield from self._turn(trimmer, degrees, seen)
            case _:
                raise AssertionError(command)

    def _turn(self, trimmer: str, degrees: float, seen: Snapshot) -> Iterator[str]:
        proposed = presentation.proposed_turns(seen)
        names = [t.name for t in seen.trimmers]
        picked = self._picked or names[0]
        as_proposed = trimmer in proposed and abs(degrees - proposed[trimmer]) < NEAR_DEGREES
        if picked != trimmer and not (as_proposed and next(iter(proposed)) == trimmer and picked not in proposed):
            yield str(names.index(trimmer) + 1)
        self._picked, here = trimmer, seen.step.id if seen.step is not None else ""
        turns = ([] if self._turns_at == here else ["g"]) if as_proposed else list(_arrows(degrees))
        self._turns_at = here if as_proposed else ""
        self.turned += 1 if as_proposed else len(turns)
        yield from turns


def _arrows(degrees: float) -> Iterator[str]:
    """The arrow keys that come closest to a turn."""
    tens = int(abs(degrees) // 10)
    twos = round((abs(degrees) - 10 * tens) / 2)
    yield from ["up" if degrees > 0 else "down"] * tens
    yield from ["right" if degrees > 0 else "left"] * (twos if tens or twos else 1)


@dataclass(slots=True)
class CountedHands(UnattendedHands):
    """Hands that count the keys of what they decide."""

    keys: Keys = field(default_factory=Keys)
    learned: LearnedTurns = field(default_factory=LearnedTurns)

    def decide(self, snapshot: Snapshot, now: float) -> say.Command | None:
        """The next command; None to wait."""
        snapshot = self.learned.shown(snapshot)
        command = UnattendedHands.decide(self, snapshot, now)
        if command is not None:
            self.keys.giving(command, snapshot)
        return command


async def play(pilot: Pilot[int], screen: BenchScreen, clock: RehearsalClock) -> Keys:
    """Go through a whole job with keys alone, from what the screen shows."""
    keys, hands = Keys(), UnattendedHands(override="a rehearsal")
    for _ in range(20_000):
        await pilot.pause()
        seen = screen._snapshot
        if seen is None:
            continue
        if seen.outcome is not None:
            return keys
        if seen.timer_left_s:
            clock.wait(seen.timer_left_s)
            continue
        command = hands.decide(seen, clock.now())
        assert not hands.stopped_because, hands.stopped_because
        if command is not None:
            newest = screen._newest
            await pilot.press(*keys.giving(command, seen))
            await until(pilot, lambda newest=newest: screen._newest is not newest)  # type: ignore[misc]
    raise AssertionError("the job did not end\n" + screen_text(pilot.app))
