"""Puts an exercise together and, when it is over, tells the trainee what was so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from bench.audio.port import Port
from bench.clock import Clock
from bench.problem import Problem
from bench.procedure.load.library import Library
from bench.procedure.model.job import Job
from bench.procedure.model.sheets import Fault
from bench.procedure.model.steps import Adjust
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Answered, Debriefed, Done
from bench.procedure.state.journal import Journal
from bench.training.debrief import debrief
from bench.training.exercise import CLOSING, draw_faults, named_faults, with_closing_question
from bench.training.truth import Truth

MISADJUSTMENT = 0.5
"""Of the trimmers of an exercise's machine, so that a fault stands out from what is merely off."""


@dataclass(frozen=True, slots=True)
class Exercise:
    """A machine with hidden faults."""

    job: Job
    """Its own, the closing question included."""
    faults: Mapping[str, Fault]
    """Those that the machine has, by the names of their sheets."""
    titles: tuple[str, ...]
    """Of all faults there can be, in the order of their numbers in the closing question."""
    seed: int

    def truth(self, port: Port | None = None) -> Truth:
        """What is so: with the machine behind a port, or with the same machine as the trainee met it."""
        from bench.audio.practice import PracticePort
        from bench.practice_setup import build_practice_machine, truth_of

        if isinstance(port, PracticePort):
            return truth_of(port.machine, self.job.machine, self.faults)
        job = self.job
        fresh = build_practice_machine(
            job.machine,
            job.tape,
            job.reference_tape,
            seed=self.seed,
            faults=list(self.faults.values()),
            misadjustment=MISADJUSTMENT,
        )
        return truth_of(fresh, job.machine, self.faults)

    def debrief(self, port: Port, events: Sequence[Event]) -> Debriefed:
        """What was done against what was so."""
        answers = [str(e.answer) for e in of_kind(events, Answered) if e.step == CLOSING]
        names = named_faults(answers[-1], self.titles) if answers else ()
        sets = {t for s in self.job.steps if isinstance(s, Adjust) for t in s.trimmers.values()}
        return debrief(self.truth(), self.truth(port), events, sorted(sets), names)

    def end(self, port: Port, journal: Journal, clock: Clock) -> None:
        """Keep the debrief in the session, once, when the exercise is over."""
        events = journal.events()
        if any(of_kind(events, Done)) and not any(of_kind(events, Debriefed)):
            journal.note(replace(self.debrief(port, events), step=CLOSING, time=clock.wall()))


def set_exercise(sheets: Mapping[str, Fault], job: Job, chosen: Sequence[str], more: int, seed: int) -> Exercise:
    """An exercise on a job.

    Args:
        sheets: the faults there can be, by the names of their sheets.
        job: what the trainee goes through.
        chosen: those of them that the machine has in any case.
        more: how many are drawn beside them.
        seed: draws them, and the machine.

    Raises:
        Problem: they do not go together on this machine, or there are not so many.
    """
    titles = tuple(sorted({f.name for f in sheets.values()}))

    def exercise(names: Sequence[str]) -> Exercise:
        having = {name: sheets[name] for name in (*chosen, *names)}
        return Exercise(with_closing_question(job, titles), having, titles, seed)

    def goes_together(names: Sequence[str]) -> bool:
        try:
            return all(f.there for f in exercise(names).truth().faults)
        except Problem:
            return False

    others = {n: f for n, f in sheets.items() if n not in chosen}
    drawn = draw_faults(others, job, more, seed, goes_together) if more else ()
    if not drawn:
        exercise(()).truth()  # says what does not go together
    return exercise(drawn)


def fault_sheets(library: Library, chosen: Sequence[str]) -> dict[str, Path]:
    """The fault sheets of a workspace that can be read, and those chosen by name or by path.

    Raises:
        Problem: a chosen one is not there.
    """
    listed = [s.path for s in library.sheets("fault") if not s.broken]
    return {path.stem: path for path in (*listed, *(library.sheet_path(name, "fault") for name in chosen))}
