"""Sets up an exercise, and at its end compares the trainee's work with the true state of the machine."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from bench.audio.port import Port
from bench.clock import Clock, RehearsalClock
from bench.practice_setup import causes_of, with_clean_heads
from bench.problem import Problem
from bench.procedure.load.library import Library
from bench.procedure.load.reader import load_sheet
from bench.procedure.model.job import Job
from bench.procedure.model.sheets import Exercise as ExerciseSheet
from bench.procedure.model.sheets import Fault, Machine
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Done
from bench.procedure.state.exercise_events import Debriefed
from bench.procedure.state.journal import Journal
from bench.session.record.exercise_encoding import decode_exercise
from bench.session.record.record import JobFacts
from bench.training.causes import Cause
from bench.training.debrief import TraineeWork, debrief
from bench.training.exercise import CLOSING, draw_faults, fault_shows, with_exercise_steps
from bench.training.truth import Truth

IN_ADJUSTMENT = 0.02
"""Misadjustment of the trimmers in an exercise: within every tolerance, as after a line-up."""
OUT_OF_ADJUSTMENT = 0.5
"""Misadjustment where the trimmers are out of adjustment: small enough that a fault stands out."""


@dataclass(frozen=True, slots=True)
class Exercise:
    """A practice machine with something hidden in it; apart from that it is in order."""

    sheet: ExerciseSheet
    """The exercise sheet, with the name of every hidden fault."""
    job: Job
    """The job, including the owner's complaint and the closing question."""
    faults: Mapping[str, Fault]
    """The machine's faults, by the names of their sheets."""
    causes: tuple[Cause, ...]
    """All causes that can be named, in the order of the closing question."""

    @property
    def machine(self) -> Machine:
        """The machine sheet, with clean heads unless the exercise makes them dirty."""
        return self.job.machine if self.sheet.dirty else with_clean_heads(self.job.machine)

    @property
    def misadjustment(self) -> float:
        """How far its trimmers are out."""
        return OUT_OF_ADJUSTMENT if self.sheet.out_of_adjustment else IN_ADJUSTMENT

    def truth(self, port: Port | None = None) -> Truth:
        """The true state of the machine behind a port; without a port, of the same machine at the start."""
        from bench.audio.practice import PracticePort
        from bench.practice_setup import build_practice_port, truth_about

        faults = list(self.faults.values())
        if isinstance(port, PracticePort):
            return truth_about(port.machine, self.machine, faults, self.causes)
        fresh = build_practice_port(
            self.machine,
            self.job.tape,
            self.job.reference_tape,
            seed=self.sheet.seed,
            faults=faults,
            misadjustment=self.misadjustment,
            clock=RehearsalClock(),
            real_time=False,
        )
        return truth_about(fresh.machine, self.machine, faults, self.causes)

    def debrief(self, port: Port, journal: Journal) -> Debriefed:
        """What was done, compared with what was hidden."""
        seen = TraineeWork(journal.records(), journal.events())
        told = debrief(self.job, self.truth(), self.truth(port), seen, self.causes)
        asked = {self.faults[name].name for name in self.sheet.must_find}
        wanted = (replace(fault, must_find=not asked or fault.name in asked) for fault in told.faults)
        return replace(told, faults=tuple(wanted))

    def end(self, port: Port, journal: Journal, clock: Clock) -> None:
        """Keep the debrief in the session, once, when the exercise is over."""
        events: Sequence[Event] = journal.events()
        if any(of_kind(events, Done)) and not any(of_kind(events, Debriefed)):
            journal.note(replace(self.debrief(port, journal), step=CLOSING, time=clock.wall()))


def make_exercise(sheet: ExerciseSheet, job: Job, faults: Mapping[str, Fault]) -> Exercise:
    """An exercise on a job, whose machine has the faults of the sheet and no others.

    Args:
        sheet: the exercise sheet, with its draws already made.
        job: the trainee's job.
        faults: all possible faults, by the names of their sheets.
    """
    causes = causes_of(job.machine, list(faults.values()))
    steps = with_exercise_steps(job, sheet.complaint, causes)
    return Exercise(sheet, steps, {name: faults[name] for name in sheet.faults}, causes)


def with_draws(sheet: ExerciseSheet, job: Job, faults: Mapping[str, Fault]) -> ExerciseSheet:
    """The sheet with the name of every fault of its machine, including those that its seed draws.

    Args:
        sheet: the exercise sheet.
        job: the trainee's job.
        faults: all possible faults, by the names of their sheets.

    Raises:
        Problem: a fault is missing, the job can't show one, they can't be combined on this machine, or there are too
            few.
    """
    for name in sheet.faults:
        if name not in faults:
            raise Problem(f"there is no fault sheet {name}; the fault sheets are {', '.join(sorted(faults))}")
        if not fault_shows(job, faults[name]):
            shown = sorted(n for n, f in faults.items() if fault_shows(job, f))
            raise Problem(
                f'{job.name} measures nothing that shows "{faults[name].name}" ({name}); choose a procedure that '
                f"measures more, or one of {', '.join(shown)}"
            )

    def hiding(names: Sequence[str]) -> ExerciseSheet:
        return sheet.model_copy(update={"faults": (*sheet.faults, *names), "draws": 0})

    def goes_together(names: Sequence[str]) -> bool:
        try:
            return all(h.present for h in make_exercise(hiding(names), job, faults).truth().hidden)
        except Problem:
            return False

    if sheet.draws:
        others = {n: f for n, f in faults.items() if n not in sheet.faults}
        return hiding(draw_faults(others, job, sheet.draws, sheet.seed, goes_together))
    make_exercise(sheet, job, faults).truth()  # raises the problem if the chosen faults can't be combined
    return sheet


def load_exercise(library: Library, sheet: ExerciseSheet, paths: Mapping[str, Path] | None = None) -> Exercise:
    """The exercise of a sheet.

    Args:
        library: library with the files that it names.
        sheet: the exercise sheet.
        paths: all possible fault sheets, from `find_fault_sheets`; by default those of the library.

    Raises:
        Problem: as for `with_draws`, or where a file that it names is broken.
    """
    job = library.load_job(sheet.procedure, sheet.machine, sheet.tape, sheet.reference_tape)
    if job.further:
        raise Problem(f"an exercise is on one tape, and {sheet.procedure} lines up for several: name another procedure")
    paths = find_fault_sheets(library, ()) if paths is None else paths
    faults = {name: library.fault(path) for name, path in paths.items()}
    return make_exercise(with_draws(sheet, job, faults), job, faults)


def find_fault_sheets(library: Library, chosen: Sequence[str]) -> dict[str, Path]:
    """The readable fault sheets of a workspace, and those chosen by name or by path.

    Raises:
        Problem: a chosen sheet does not exist.
    """
    listed = [s.path for s in library.sheets("fault") if not s.broken]
    return {path.stem: path for path in (*listed, *(library.sheet_path(name, "fault") for name in chosen))}


def sheet_of(inputs: Path, facts: JobFacts) -> ExerciseSheet:
    """The exercise of a session, with the name of every hidden fault.

    Args:
        inputs: folder with the session's copies, which in some sessions include the exercise before its draws.
        facts: facts of the session.
    """
    kept = decode_exercise(facts.exercise) if facts.exercise else {}
    if "procedure" in kept:
        return ExerciseSheet.model_validate_json(json.dumps(kept))
    hidden = {"faults": tuple(kept.get("faults", ())), "draws": 0}
    for copy in sorted((inputs / "sheets" / "exercises").glob("*.toml")):
        return load_sheet(copy, "exercise").model_copy(update=hidden)
    # Sessions without a copy come from a version in which every machine was dirty and out of adjustment.
    named = ExerciseSheet(format=1, sheet="exercise", name=facts.procedure, procedure=facts.procedure_id)
    return named.model_copy(update={**hidden, "seed": facts.seed, "dirty": True, "out_of_adjustment": True})
