"""Opens a run: job, port, session and runner."""

from __future__ import annotations

import gc
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Literal

from bench.audio.port import Port, hands_of, perform
from bench.clock import Clock
from bench.large_blocks import return_large_blocks
from bench.open_exercise import Exercise, find_fault_sheets, load_exercise, make_exercise, sheet_of
from bench.problem import Problem
from bench.procedure.load.library import Library
from bench.procedure.load.reader import load_sheet, read_sheet
from bench.procedure.model.job import Job, UsedFile
from bench.procedure.model.sheets import SheetBase
from bench.procedure.model.steps import InterfaceStep
from bench.procedure.run.desk import Desk
from bench.procedure.run.interface_sheet import calibration, newest_of, sheet_text, write_sheet
from bench.procedure.run.narrated_journal import NarratedJournal
from bench.procedure.run.runner import Runner
from bench.procedure.run.views import job_view
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.event_words import event_sentence
from bench.procedure.state.events import Acted, InterfaceSheetWritten, SignedOff, Switched, Turned
from bench.procedure.state.journal import Journal
from bench.procedure.state.outcome import last_attempts
from bench.procedure.state.snapshot import Snapshot
from bench.run_request import RunRequest
from bench.session.compare.earlier_tapes_text import choice_lines
from bench.session.record.exercise_encoding import encode_exercise
from bench.session.record.reader import read_session
from bench.session.record.record import FurtherTape, JobFacts, TrimmerTurns
from bench.session.record.steps import steps_of
from bench.session.record.store import SessionStore
from bench.workspace import Workspace


@dataclass(slots=True)
class OpenRun:
    """A run that is ready to start."""

    job: Job
    port: Port
    store: SessionStore
    runner: Runner
    clock: Clock
    exercise: Exercise | None = None
    desk: Desk | None = None
    """The bench thread, if the run has one."""

    def make_desk(self, on_snapshot: Callable[[Snapshot], None]) -> Desk:
        """Make the bench thread of the run; it is not started yet."""
        self.desk = Desk(self.runner, self.port, self.clock, on_snapshot)
        return self.desk

    @property
    def writing(self) -> bool:
        """Whether a bench thread may still write into the session, so that nothing may be closed."""
        return self.desk is not None and self.desk.alive

    def end(self) -> str:
        """Store the debrief of a finished exercise, save a calibration, close the session; returns a sentence about it.

        While the bench thread is still writing, the session stays open and locked, and the sentence says so.
        """
        if self.writing:
            return f"{self.store.folder}: still being written; what was accepted last may not be on disk"
        calibration_text = ""
        try:
            self.runner.close()
            if self.exercise is not None:
                self.exercise.end(self.port, self.store, self.clock)
            calibration_text = save_calibration(self.job, self.store, self.port, self.clock)
        finally:
            rescued = self.store.close()
        return " ".join(said for said in (calibration_text, rescued) if said)

    def end_after(self, stopped: BaseException) -> str:
        """End the run after an exception. Returns where the accepted readings are, and notes it on the exception."""
        safe = self.end() or f"what was accepted is safe in {self.store.folder}"
        stopped.add_note(safe)
        return safe


Say = Callable[[str], None]
"""Prints a line of narration."""


def open_run(
    workspace: Workspace, request: RunRequest, clock: Clock, *, real_time: bool, say: Say | None = None
) -> OpenRun:
    """Open a new run.

    Args:
        workspace: where procedures and sessions are.
        request: what to run, and on what.
        clock: the clock of the run.
        real_time: True for a practice machine in real time, False for one that makes sound as fast as it is read.
        say: prints what was kept, once it is on disk.

    Raises:
        Problem: something is missing or broken; nothing was started.
    """
    library = Library(workspace)
    exercise = None
    if request.exercise is not None:
        faults = find_fault_sheets(library, request.faults)
        exercise = load_exercise(library, request.exercise, faults)
        request = replace(request, procedure=request.exercise.procedure, seed=request.exercise.seed)
        job = exercise.job
    else:
        faults = {p.stem: p for p in (library.sheet_path(f, "fault") for f in request.faults)}
        job = library.load_job(
            request.procedure,
            request.machine,
            request.tape,
            request.reference_tape,
            other_tapes=request.other_tapes,
            other_reference_tapes=request.other_reference_tapes,
        )
    port = open_port(library, job, request, clock, real_time=real_time, exercise=exercise)
    inputs: list[Path | UsedFile] = [*job.used, *faults.values()]
    if port.status.kind == "live":
        port.open()  # before the session is created: without a device there is none
    job, sheet = with_interface_sheet(library, job, port, request.interface)
    inputs += sheet
    facts = _facts(job, port, request, exercise, clock.wall().date())
    store = SessionStore.create(
        workspace.sessions, facts, inputs, clock, steps=steps_of(job), evidence=request.evidence
    )
    restore_trimmers(port, store.job)
    return replace(_opened(job, port, store, clock, say), exercise=exercise)


def resume_run(
    folder: Path, clock: Clock, *, port: str | None = None, real_time: bool, say: Say | None = None
) -> OpenRun:
    """Open an unfinished session, with the copies of the files with which it was started.

    Raises:
        Problem: it can't be resumed.
    """
    store = SessionStore.reopen(folder)
    try:
        facts = store.job
        library = Library(Workspace(store.inputs))
        tapes = _named(store.inputs / "sheets" / "tapes", "tape", [facts.tape, *(f.tape for f in facts.further)])
        names = [facts.reference_tape, *(f.reference_tape for f in facts.further)]
        references = _named(store.inputs / "sheets" / "reference-tapes", "reference-tape", names)
        job = library.load_job(
            store.inputs / f"{facts.procedure_id}.toml",
            tape=next(iter(tapes), None),
            reference_tape=next(iter(references), None),
            other_tapes=tapes[1:],
            other_reference_tapes=references[1:],
        )
        kind = port or ("practice" if facts.port_kind == "practice" else facts.port)
        if port is None and facts.port_kind == "live":
            kind = "live"
        exercise = None
        faults = sorted((store.inputs / "sheets" / "faults").glob("*.toml"))
        if facts.exercise is not None:
            sheets = {path.stem: library.fault(path) for path in faults}
            exercise = make_exercise(sheet_of(store.inputs, facts), job, sheets)
            job = exercise.job
        request = RunRequest(facts.procedure_id, port=kind, faults=tuple(str(p) for p in faults), seed=facts.seed)
        opened = open_port(library, job, request, clock, real_time=real_time, exercise=exercise)
        restore_trimmers(opened, facts)
        replay_events(opened, job, store.events())
        for path in (store.inputs / "sheets" / "interfaces").glob("*.toml"):
            job = replace(job, interface=load_sheet(path, "interface"))
    except Problem:
        store.close()
        raise
    return replace(_opened(job, opened, store, clock, say), exercise=exercise)


def _named(folder: Path, kind: Literal["tape", "reference-tape"], names: Sequence[str]) -> list[Path]:
    """The sheets with these names, each once, in this order; missing ones are left out."""
    by_name: dict[str, Path] = {}
    for path in sorted(folder.glob("*.toml")):
        sheet: SheetBase = read_sheet(path, kind).whole()
        by_name[sheet.name] = path
    return [by_name[name] for name in dict.fromkeys(names) if name in by_name]


def with_interface_sheet(library: Library, job: Job, port: Port, name: str | None) -> tuple[Job, list[Path]]:
    """The job with the sheet of its interface, and the file of that sheet.

    Raises:
        Problem: the named sheet is missing or broken.
    """
    if any(isinstance(s, InterfaceStep) for s in job.steps):
        return job, []  # a job that measures the interface must not be corrected by an old sheet
    folder = library.workspace.sheets / "interfaces"
    path = library.sheet_path(name, "interface") if name else newest_of(folder, port.status.name)
    return (job, []) if path is None else (replace(job, interface=load_sheet(path, "interface")), [path])


def save_calibration(job: Job, store: SessionStore, port: Port, clock: Clock) -> str:
    """Write the result of a signed-off calibration as an interface sheet, once; a sentence with its path, or "".

    The sheet of a real interface goes to the workspace, where later sessions find it; that of the simulated loopback
    stays with its session.
    """
    events = store.events()
    if not any(of_kind(events, SignedOff)) or any(of_kind(events, InterfaceSheetWritten)):
        return ""
    status, day = port.status, clock.wall().date()
    text = sheet_text(job.steps, last_attempts(store.records()), status.name, day, status.sample_rate)
    if text is None:
        return ""
    live = status.kind == "live"
    folder = Workspace(store.folder.parents[1]).sheets / "interfaces" if live else store.folder
    path = write_sheet(folder, text, status.name, day)
    written = InterfaceSheetWritten(str(path), step=job.steps[-1].id, time=clock.wall())
    store.note(written)
    return event_sentence(written, {})


def turned_before(request: RunRequest, port: Port) -> tuple[TrimmerTurns, ...]:
    """All trimmer turns of the sessions before this one, as in `JobFacts`; none for a first session.

    Raises:
        Problem: the previous session was on another machine, so its turns do not apply.
    """
    if request.after is None:
        return ()
    before = read_session(request.after)
    if port.status.kind != "practice" or before.job.port_kind != "practice" or before.job.seed != request.seed:
        raise Problem(
            f"{request.after}: that session is of another machine; name one on the practice machine with --seed "
            f"{request.seed}"
        )
    turns = (TrimmerTurns(e.trimmer, e.degrees) for e in of_kind(before.events, Turned))
    return (*before.job.turned_before, *turns)


def restore_trimmers(port: Port, facts: JobFacts) -> None:
    """Turn the trimmers of a practice machine as earlier sessions turned them."""
    hands = hands_of(port)
    if hands is None:
        return
    for turns in facts.turned_before:
        for degrees in turns.degrees:
            hands.turn(turns.trimmer, degrees)


def replay_events(port: Port, job: Job, events: tuple[Event, ...]) -> None:
    """Repeat on a practice machine what an unfinished session did to it.

    Each turn of a trimmer is repeated separately, because the backlash depends on the last one.
    """
    hands = hands_of(port)
    if hands is None:
        return
    for event in events:
        match event:
            case Acted(act, lot):
                perform(hands, act, job.lot_index(lot))
            case Switched(control, position):
                with suppress(Problem):  # a control that only the person can reach
                    hands.switch(control, position)
            case Turned(trimmer, turns):
                for degrees in turns:
                    hands.turn(trimmer, degrees)


def _opened(job: Job, port: Port, store: SessionStore, clock: Clock, say: Say | None) -> OpenRun:
    return_large_blocks()
    gc.collect()  # the machine of an earlier run refers to itself, and its tapes are large
    journal: Journal = store if say is None else NarratedJournal(store, say, {s.id: s.title for s in job.steps})
    runner = Runner(job, port, journal, clock, lambda: choice_lines(read_session(store.folder)))
    return OpenRun(job, port, store, runner, clock)


def open_port(
    library: Library, job: Job, request: RunRequest, clock: Clock, *, real_time: bool, exercise: Exercise | None = None
) -> Port:
    """The requested port, not yet opened.

    Raises:
        Problem: faults for a real machine, or no such file.
    """
    if request.port == "practice":
        from bench.practice_setup import build_practice_loopback, build_practice_port

        if any(isinstance(s, InterfaceStep) for s in job.steps):
            faults = tuple(library.fault(f) for f in request.faults)
            return build_practice_loopback(seed=request.seed, faults=faults, clock=clock, real_time=real_time)
        if exercise is None:
            machine, faults, misadjustment = job.machine, tuple(library.fault(f) for f in request.faults), 1.0
        else:
            machine, faults = exercise.machine, tuple(exercise.faults.values())
            misadjustment = exercise.misadjustment
        return build_practice_port(
            machine,
            job.tape,
            job.reference_tape,
            other_tapes=job.other_tapes,
            further=job.further,
            seed=request.seed,
            faults=faults,
            misadjustment=misadjustment,
            clock=clock,
            real_time=real_time,
        )
    if exercise is not None:
        raise Problem("an exercise needs the practice machine; leave --port out")
    if request.faults:
        raise Problem("faults can only be given to the practice machine; leave --fault out")
    if request.port == "live" or request.port.startswith("live:"):
        from bench.audio.live import LivePort

        return LivePort(request.port.partition(":")[2] or None)
    from bench.audio.file import FilePort

    return FilePort(Path(request.port))


def _further(job: Job, lot: str) -> FurtherTape:
    view = job_view(job.at(lot))
    return FurtherTape(lot, view.tape, view.reference_tape, view.speed, view.equalisation)


def _facts(job: Job, port: Port, request: RunRequest, exercise: Exercise | None, today: date) -> JobFacts:
    view, status = job_view(job), port.status
    facts = JobFacts(
        machine=view.machine,
        tape=view.tape,
        tape_format=job.tape.tape_format,
        reference_tape=view.reference_tape,
        procedure=view.procedure,
        speed=f"{job.machine.speed_mm_s:g} mm/s",
        equalisation=view.equalisation,
        reference_level=view.reference_level,
        heads=job.machine.heads,
        port=status.name,
        port_kind=status.kind,
        sample_rate=status.sample_rate,
        calibration=calibration(job.interface, status.name, today),
        procedure_id=job.name,
        answers=job.procedure.answers or "",
        further=tuple(_further(job, one.lot) for one in job.further),
        turned_before=turned_before(request, port),
    )
    if exercise is not None:
        kept = encode_exercise(exercise.sheet.model_dump(mode="json", exclude_defaults=True))
        facts = replace(facts, exercise=kept, trainee=request.trainee)
    return replace(facts, seed=request.seed) if status.kind == "practice" else facts
