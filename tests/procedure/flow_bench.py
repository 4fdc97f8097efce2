"""A run on the practice machine by commands alone, for tests of the route through a procedure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from bench.audio.port import Block, Port, PortStatus
from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run, resume_run
from bench.procedure.run import commands as say
from bench.procedure.run.runner import Runner
from bench.procedure.state.event_kinds import KIND_OF
from bench.procedure.state.event_words import event_sentence
from bench.procedure.state.snapshot import Snapshot
from bench.run_request import RunRequest
from bench.signals.source import Source
from bench.workspace import Workspace
from tests.procedure import small_bench as small
from tests.smooth import smooth_procedures

HEAD = 'format = 1\ntitle = "T"\nsummary = "S"\ntakes_minutes = 1\npart = true\n'

CLEAN, PLAY = small.CLEAN, small.PLAY
LEVEL = small.LEVEL.replace('"replay-level"', '"level"').replace('plays = "level"', 'plays = "level-400"')
RECORD = small.RECORD.replace("db = 0", "db = -20, seconds = 1.0")

MEASURE = """
[[step]]
kind = "measure"
id = "measured"
title = "Level, measured"
do = "Let it play."
quantity = "level"
plays = "level-400"
seconds = 1.0
target = "machine.replay_level"
"""

WITH = RECORD.replace('"record"\ntitle', '"with"\ntitle') + 'noise_reduction = "on"\n'
"""The record step with noise reduction in."""

WORDS = """
[[step]]
kind = "entry"
id = "words"
title = "Words"
do = "Write."
asks = "words"
"""

SIGN = """
[[step]]
kind = "sign-off"
id = "sign"
title = "Sign"
do = "Sign."
accepts = "this deck"
"""


def words(name: str) -> str:
    """An entry that accepts any answer."""
    return WORDS.replace('"words"\ntitle = "Words"', f'"{name}"\ntitle = "{name.title()}"')


@dataclass
class Bench:
    """A workspace in which one procedure is run."""

    root: Path

    def open(self, steps: str, *, seed: int = 1, procedure: str = "t") -> OpenRun:
        """Begin a run of these steps."""
        folder = self.root / "procedures"
        if not folder.exists():
            smooth_procedures(folder)
        (folder / f"{procedure}.toml").write_text(HEAD + steps, encoding="utf-8")
        run = open_run(Workspace(self.root), RunRequest(procedure, seed=seed), RehearsalClock(), real_time=False)
        run.port.open()
        run.runner.begin()
        return run

    def resume(self, run: OpenRun) -> OpenRun:
        """Abandon a run as in a power failure, and resume its session."""
        run.store.close()
        run.port.close()
        resumed = resume_run(run.store.folder, RehearsalClock(), real_time=False)
        resumed.port.open()
        resumed.runner.begin()
        return resumed


def at(run: OpenRun) -> str:
    """The id of the current step; "" at the end."""
    step = run.runner.snapshot().step
    return step.id if step is not None else ""


def listen(run: OpenRun, until: Callable[[Snapshot], bool], limit_s: float = 60.0) -> Snapshot:
    """Let the run hear sound until a condition holds, or until it stops listening."""
    stop = run.clock.now() + limit_s
    while run.clock.now() < stop and not run.runner.finished:
        for _ in range(5):
            if run.runner.wants_sound:
                block = run.port.read(0.0)
                assert block is not None
                run.runner.hear(block)
        seen = run.runner.snapshot()
        if until(seen) or not run.runner.wants_sound:
            return seen
    return run.runner.snapshot()


def listen_through(run: OpenRun) -> Snapshot:
    """Let the run hear sound until the current step asks for something or is over."""
    here = at(run)
    return listen(run, lambda s: s.prompt.kind != "wait" or s.step is None or s.step.id != here)


def set_level(run: OpenRun) -> None:
    """Bring replay level in by turning both trimmers as the gauges propose, and accept."""
    from bench.training.hands import UnattendedHands

    hands, here = UnattendedHands(), at(run)
    while at(run) == here:
        command = hands.decide(run.runner.snapshot(), run.clock.now())
        if command is not None:
            run.runner.obey(command)
        listen(run, lambda _: True)


def leave_it_out(run: OpenRun, why: str = "for the test") -> None:
    """Accept the readings although they are not in."""
    listen(run, lambda s: s.can_accept)
    run.runner.obey(say.Accept(why))


def events(run: OpenRun, *kinds: str) -> list[tuple[str, str, str]]:
    """(kind, step, text) of the events of these kinds."""
    titles = {s.id: s.title for s in run.job.steps}
    return [
        (KIND_OF[type(e)], e.step, event_sentence(e, titles)) for e in run.store.events() if KIND_OF[type(e)] in kinds
    ]


class WithoutHands:
    """A port to a machine that only a person can operate: sound goes through, switches do not."""

    def __init__(self, port: Port) -> None:
        self._port = port

    @property
    def status(self) -> PortStatus:
        return self._port.status

    def open(self) -> None:
        self._port.open()

    def close(self) -> None:
        self._port.close()

    def send(self, source: Source | None) -> int:
        return self._port.send(source)

    def mute(self, muted: bool) -> None:
        self._port.mute(muted)

    def read(self, timeout_s: float) -> Block | None:
        return self._port.read(timeout_s)

    def reopen(self) -> bool:
        return self._port.reopen()


class Cable:
    """The practice machine on a cable that can be pulled out."""

    def __init__(self, port: Port) -> None:
        self._port, self.out, self.sends = port, False, False

    def __getattr__(self, name: str) -> Any:
        return getattr(self._port, name)

    @property
    def status(self) -> PortStatus:
        return replace(self._port.status, state="lost", detail="the cable is out") if self.out else self._port.status

    def send(self, source: Source | None) -> int:
        self.sends = source is not None
        return self._port.send(source)


def by_a_person(run: OpenRun) -> Runner:
    """A started runner of the same job for a machine that the program cannot operate."""
    runner = Runner(run.job, WithoutHands(run.port), run.store, run.clock)
    runner.begin()
    return runner
