"""The store: keeps a session on disk while it happens, complete after every event."""

from __future__ import annotations

import hashlib
import re
import shutil
import unicodedata
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from bench import __version__
from bench.clock import Clock
from bench.problem import Problem
from bench.procedure.model.job import UsedFile
from bench.procedure.state.event_kinds import Event
from bench.procedure.state.journal import ReadingRecord, Sound
from bench.session.record.atomic import save_file, sweep_parts, sync_folder
from bench.session.record.inputs import copy_inputs
from bench.session.record.lock import SessionLock, is_locked
from bench.session.record.paths import EVIDENCE, FILE_NAME, INPUTS
from bench.session.record.reader import read_session
from bench.session.record.record import (
    SCHEMA,
    EvidenceFile,
    JobFacts,
    SessionRecord,
    event_text,
    finite,
    head_text,
    reading_text,
    step_text,
)
from bench.session.record.rescue import delete_rescue, disk_remedy, rescue
from bench.session.record.steps import StepFacts


class SessionStore:
    """A session being written; implements `bench.procedure.state.journal.Journal`.

    Made by `create` or `reopen`. Until it is closed no other program can write the same session. Entries that can't be
    written are held and written by the next call that can; in the meantime `unsaved` gives the reason, and a copy is
    kept elsewhere on this computer.
    """

    def __init__(self, record: SessionRecord, lock: SessionLock, *, evidence: bool = False) -> None:
        self._record = record
        self._lock = lock
        # Each entry is turned into text once; only the joining and writing is repeated at every event.
        self._steps = [step_text(s) for s in record.steps]
        self._readings = [reading_text(r) for r in record.readings]
        self._events = [event_text(e) for e in record.events]
        self._sounds: dict[str, bytes] = {}
        """Evidence that is not on disk yet, by its path."""
        self._evidence = evidence
        self._unsaved = ""
        self._rescued: Path | None = None
        self._ours = True
        """Whether nobody else can have written the session since this store last did."""
        self._written = {_digest(record.folder / FILE_NAME)}
        """Digests of the contents that the file may have, if nobody else has written it."""

    @classmethod
    def create(
        cls,
        sessions_folder: Path,
        job: JobFacts,
        inputs: Sequence[Path | UsedFile],
        clock: Clock,
        *,
        steps: tuple[StepFacts, ...] = (),
        evidence: bool = False,
    ) -> SessionStore:
        """Begin a session in a new folder.

        Args:
            sessions_folder: folder of all sessions; created if missing.
            job: what is on the bench.
            inputs: the procedure, those it follows, and the sheets; copied verbatim, with their content at the time
                of reading where it is known.
            clock: gives the time at which it begins, which names the folder.
            steps: steps of the job, in order.
            evidence: whether the sound behind readings is kept.

        Raises:
            Problem: the folder can't be made or written, or an input can't be read.
        """
        begun = clock.wall()
        try:
            folder = _new_folder(sessions_folder, begun, job.machine)
        except OSError as error:
            raise Problem(f"{sessions_folder}: no session can be begun there: {disk_remedy(error)}") from None
        lock = None
        try:
            lock = SessionLock(folder)
            copies = copy_inputs(folder, inputs)
            program = f"tapebench {__version__}"
            record = SessionRecord(folder, SCHEMA, program, begun, job, copies, (), (), (), steps=steps)
            store = cls(record, lock, evidence=evidence)
            store._write()
            sync_folder(sessions_folder)
        except (OSError, Problem) as error:
            # Nothing was measured yet: leave no half-made session behind.
            if lock:
                lock.release()
            shutil.rmtree(folder, ignore_errors=True)
            if isinstance(error, OSError):
                raise Problem(f"{sessions_folder}: no session can be begun there: {disk_remedy(error)}") from None
            raise
        return store

    @classmethod
    def reopen(cls, folder: Path, *, finished: bool = False, evidence: bool = False) -> SessionStore:
        """Go on with an interrupted session.

        Args:
            folder: the session's folder.
            finished: whether a finished session may be opened too, to add to it.
            evidence: whether the sound behind readings is kept from now on.

        Raises:
            Problem: another program is writing it, or it is finished, damaged, or of a later version.
        """
        _may_go_on(read_session(folder), finished=finished)
        lock = SessionLock(folder)
        try:
            record = read_session(folder)  # it may have changed before this program held the lock
            _may_go_on(record, finished=finished)
        except Problem:
            lock.release()
            raise
        sweep_parts(folder)
        sweep_parts(folder / EVIDENCE)
        return cls(record, lock, evidence=evidence or bool(record.evidence))

    @property
    def folder(self) -> Path:
        """The session's folder."""
        return self._record.folder

    @property
    def inputs(self) -> Path:
        """The folder with the copies of the procedure and sheets, which a resumed run uses."""
        return self.folder / INPUTS

    @property
    def job(self) -> JobFacts:
        """What is on the bench."""
        return self._record.job

    @property
    def unsaved(self) -> str:
        """A sentence while something is not on disk; "" when all is."""
        return self._unsaved

    @property
    def wants_sound(self) -> bool:
        """Whether the sound behind readings is kept."""
        return self._evidence

    def keep(self, records: tuple[ReadingRecord, ...]) -> None:
        """Keep readings. When this returns they are on disk, and so is everything that was unsaved before.

        Raises:
            Problem: the session can't be written; they are held, and written with the next call that can.
        """
        records = tuple(finite(r) for r in records)
        self._record = replace(self._record, readings=self._record.readings + records)
        self._readings += [reading_text(r) for r in records]
        self._save()

    def keep_sound(self, sound: Sound) -> None:
        """Keep the sound behind readings that were kept. Writes and raises as `keep` does."""
        if not self._evidence:
            return
        path = f"{EVIDENCE}/{sound.readings[0]}.flac"
        file = EvidenceFile(path, hashlib.sha256(sound.flac).hexdigest(), sound.readings)
        self._record = replace(self._record, evidence=(*self._record.evidence, file))
        self._sounds[path] = sound.flac
        self._save()

    def note(self, event: Event) -> None:
        """Keep an event. Writes and raises as `keep` does."""
        self._record = replace(self._record, events=(*self._record.events, event))
        self._events.append(event_text(event))
        self._save()

    def step_done(self, step: str) -> None:
        """Note that a step is over; a resumed run continues after it."""
        self._record = replace(self._record, steps_done=(*self._record.steps_done, step))
        self._save()

    def records(self) -> tuple[ReadingRecord, ...]:
        """All readings so far, oldest first."""
        return self._record.readings

    def events(self) -> tuple[Event, ...]:
        """All events so far, oldest first."""
        return self._record.events

    def steps_done(self) -> tuple[str, ...]:
        """The steps that are over, in order, including those from before a resume."""
        return self._record.steps_done

    def save_again(self) -> bool:
        """Try again to write what is unsaved; True when all is on disk. Never raises: for a timer."""
        if self._unsaved:
            with suppress(Problem):
                self._save()
        return not self._unsaved

    def close(self) -> str:
        """Close the session.

        Returns:
            "" when everything is on disk; else a sentence that names the rescue copy.
        """
        said = ""
        if not self.save_again():
            said = self._unsaved
            if self._rescued is not None:
                said += f": copy it to {self.folder / FILE_NAME}"
        self._lock.release()
        return said

    def _save(self) -> None:
        try:
            self._write()
        except (OSError, Problem) as error:
            self._rescued = rescue(self.folder.name, self._text(), self._rescued)
            why = disk_remedy(error) if isinstance(error, OSError) else str(error).removeprefix(f"{self.folder}: ")
            self._unsaved = f"{self.folder}: not saved yet: {why}; "
            if self._rescued is not None:
                self._unsaved += f"what was measured is kept meanwhile in {self._rescued}"
            else:
                self._unsaved += "what was measured is held meanwhile, as long as this program runs"
            raise Problem(self._unsaved) from None
        self._unsaved = ""
        if self._rescued is not None:
            delete_rescue(self._rescued)
            self._rescued = None

    def _write(self) -> None:
        """Write evidence first, so that every file that the session lists exists."""
        path = self.folder / FILE_NAME
        self._ours &= not self._lock.hold()
        if not self._ours and _digest(path) not in self._written:
            raise Problem("it was written by another program meanwhile, and is not written over")
        for name, data in list(self._sounds.items()):
            (self.folder / EVIDENCE).mkdir(exist_ok=True)
            save_file(self.folder / name, data)
            del self._sounds[name]
        text = self._text()
        new = hashlib.sha256(text).digest()
        self._written.add(new)  # after a failure either the old file or the new one may be there
        save_file(path, text)
        self._written, self._ours = {new}, True

    def _text(self) -> bytes:
        return "".join([head_text(self._record), *self._steps, *self._readings, *self._events]).encode()


def _digest(path: Path) -> bytes:
    try:
        return hashlib.sha256(path.read_bytes()).digest()
    except FileNotFoundError:
        return b""


def _may_go_on(record: SessionRecord, *, finished: bool) -> None:
    if record.read_only:
        raise Problem(record.read_only)
    if record.done and not finished:
        raise Problem(f"{record.folder}: this session is finished; begin a new one")


@dataclass(frozen=True, slots=True)
class Unfinished:
    """An interrupted session."""

    folder: Path
    machine: str = ""
    procedure: str = ""
    begun: datetime | None = None
    readings: int = 0
    last_step: str = ""
    """Title of the last step that was completed."""
    problem: str = ""
    """Why it cannot be resumed: it is damaged, or of a later version; "" where it can."""


def unfinished(sessions_folder: Path) -> list[Unfinished]:
    """The interrupted sessions, newest first; those that a running program is writing are left out."""
    out = []
    for path in sorted(sessions_folder.glob(f"*/{FILE_NAME}"), reverse=True):
        try:
            with path.open("rb") as file:
                if b"\ndone = true\n" in file.read(200):
                    continue
            if is_locked(path.parent):
                continue
            record = read_session(path.parent)
        except OSError as error:
            out.append(Unfinished(path.parent, problem=f"{path}: cannot be read: {error.strerror}"))
            continue
        except Problem as problem:
            out.append(Unfinished(path.parent, problem=problem.sentence))
            continue
        last = record.titles.get(record.steps_done[-1], record.steps_done[-1]) if record.steps_done else ""
        job = record.job
        out.append(
            Unfinished(
                path.parent, job.machine, job.procedure, record.begun, len(record.readings), last, record.read_only
            )
        )
    return out


def _new_folder(sessions_folder: Path, begun: datetime, machine: str) -> Path:
    sessions_folder.mkdir(parents=True, exist_ok=True)
    name = f"{begun:%Y-%m-%d-%H%M}-{_slug(machine)}"
    n = 1
    while True:
        folder = sessions_folder / (name if n == 1 else f"{name}-{n}")
        try:
            folder.mkdir()
        except FileExistsError:
            n += 1
        else:
            return folder


def _slug(name: str) -> str:
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40].strip("-") or "machine"
