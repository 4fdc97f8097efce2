"""Sets up an exercise, and at its end compares the trainee's work with the true state of the machine."""

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
"""Misadjustment of the trimmers in an exercise: small enough that a fault stands out."""


@dataclass(frozen=True, slots=True)
class Exercise:
    """A machine with hidden faults."""

    job: Job
    """Its job, including the closing question."""
    faults: Mapping[str, Fault]
    """The machine's faults, by the names of their sheets."""
    titles: tuple[str, ...]
    """Names of all possible faults, in the order of their numbers in the closing question."""
    seed: int

    def truth(self, port: Port | None = None) -> Truth:
        """The true state of the machine behind a port; without a port, of the same machine at the start."""
        from bench.audio.practice import PracticePort
        from bench.practice_setup import build_practice_machine, truth_about

        if isinstance(port, PracticePort):
            return truth_about(port.machine, self.job.machine, self.faults)
        job = self.job
        fresh = build_practice_machine(
            job.machine,
            job.tape,
            job.reference_tape,
            seed=self.seed,
            faults=list(self.faults.values()),
            misadjustment=MISADJUSTMENT,
        )
        return truth_about(fresh, job.machine, self.faults)

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


def make_exercise(sheets: Mapping[str, Fault], job: Job, chosen: Sequence[str], more: int, seed: int) -> Exercise:
    """An exercise on a job.

    Args:
        sheets: all possible faults, by the names of their sheets.
        job: the trainee's job.
        chosen: names of the faults that the machine always has.
        more: how many to draw in addition.
        seed: random seed of the drawn faults and of the machine.

    Raises:
        Problem: the faults can't be combined on this machine, or there are too few.
    """
    titles = tuple(sorted({f.name for f in sheets.values()}))

    def exercise(names: Sequence[str]) -> Exercise:
        having = {name: sheets[name] for name in (*chosen, *names)}
        return Exercise(with_closing_question(job, titles), having, titles, seed)

    def goes_together(names: Sequence[str]) -> bool:
        try:
            return all(f.present for f in exercise(names).truth().faults)
        except Problem:
            return False

    others = {n: f for n, f in sheets.items() if n not in chosen}
    drawn = draw_faults(others, job, more, seed, goes_together) if more else ()
    if not drawn:
        exercise(()).truth()  # raises the problem if the chosen faults can't be combined
    return exercise(drawn)


def find_fault_sheets(library: Library, chosen: Sequence[str]) -> dict[str, Path]:
    """The readable fault sheets of a workspace, and those chosen by name or by path.

    Raises:
        Problem: a chosen sheet does not exist.
    """
    listed = [s.path for s in library.sheets("fault") if not s.broken]
    return {path.stem: path for path in (*listed, *(library.sheet_path(name, "fault") for name in chosen))}
