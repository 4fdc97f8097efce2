"""A technician at the bench screen: plays a whole job by what it shows, with keys alone, and counts them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from textual.pilot import Pilot

from bench.clock import RehearsalClock
from bench.procedure.run import commands as say
from bench.procedure.state.snapshot import Snapshot
from bench.training.hands import UnattendedHands
from bench.tui import presentation
from bench.tui.screens.bench import BenchScreen
from tests.tui.screen_driver import screen_text, until

NEAR_DEGREES = 1.0
"""A turn that differs by less from the proposed one is made as proposed."""


class Keyboard:
    """Gives by keys what the hands have decided; every key counts."""

    def __init__(self, pilot: Pilot[int], screen: BenchScreen) -> None:
        self.pilot, self.screen = pilot, screen
        self.by_step: Counter[str] = Counter()
        """Keys at each step, by its id."""
        self.turned = 0
        """How many of them turned a trimmer."""

    @property
    def pressed(self) -> int:
        """All of them."""
        return self.by_step.total()

    async def press(self, seen: Snapshot, *keys: str) -> None:
        self.by_step[seen.step.id if seen.step is not None else ""] += len(keys)
        await self.pilot.press(*keys)

    async def say(self, command: say.Command, seen: Snapshot) -> None:
        match command:
            case say.GoOn() if presentation.runs_on(seen) and seen.prompt.kind == "go-on":
                if not self.screen._runs_on:
                    await self.press(seen, "p")
            case say.GoOn():
                await self.press(seen, "space")
            case say.Tick(index):
                await self.press(seen, str(index + 1))
            case say.Answer(text) if seen.prompt.kind == "choice":
                await self.press(seen, str(seen.prompt.choices.index(text) + 1))
            case say.Answer(text):
                await self.press(seen, *("space" if c == " " else c for c in text), "enter")
            case say.Accept():
                await self.press(seen, "a", *"because", "enter")
            case say.Turn(trimmer, degrees):
                await self._turn(trimmer, degrees, seen)
            case _:
                raise AssertionError(command)

    async def _turn(self, trimmer: str, degrees: float, seen: Snapshot) -> None:
        proposed = presentation.proposed_turns(seen)
        names = [t.name for t in seen.trimmers]
        picked = names[min(self.screen._picked, len(names) - 1)]
        as_proposed = trimmer in proposed and abs(degrees - proposed[trimmer]) < NEAR_DEGREES
        if picked != trimmer and not (as_proposed and next(iter(proposed)) == trimmer and picked not in proposed):
            await self.press(seen, str(names.index(trimmer) + 1))
        keys = ["g"] if as_proposed else list(_arrows(degrees))
        self.turned += len(keys)
        await self.press(seen, *keys)


def _arrows(degrees: float) -> Iterator[str]:
    """The arrow keys that come nearest to a turn."""
    tens = int(abs(degrees) // 10)
    twos = round((abs(degrees) - 10 * tens) / 2)
    yield from ["up" if degrees > 0 else "down"] * tens
    yield from ["right" if degrees > 0 else "left"] * (twos if tens or twos else 1)


async def play(
    pilot: Pilot[int], screen: BenchScreen, clock: RehearsalClock, answers: dict[str, str] | None = None
) -> Keyboard:
    """Go through a whole job by what the screen has seen.

    Args:
        pilot: of the app.
        screen: on the job's first step.
        clock: of the job.
        answers: to steps that ask, by their ids.
    """
    keyboard, hands = Keyboard(pilot, screen), UnattendedHands(answers=answers or {}, override="a rehearsal")
    for _ in range(40_000):
        await pilot.pause()
        seen = screen._snapshot
        if seen is None:
            continue
        if seen.outcome is not None:
            return keyboard
        if seen.timer_left_s:
            clock.wait(seen.timer_left_s)
            continue
        command = hands.decide(seen, clock.now())
        assert not hands.stopped_because, hands.stopped_because
        if command is not None:
            newest = screen._newest
            await keyboard.say(command, seen)
            await until(pilot, lambda newest=newest: screen._newest is not newest)  # type: ignore[misc]
    raise AssertionError("the job did not end\n" + screen_text(pilot.app))
