"""The store: keeps a session on disk as it happens, whole after every event."""

from __future__ import annotations

import errno
import hashlib
import re
import shutil
import tempfile
import unicodedata
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path, PurePosixPath

from bench import __version__
from bench.clock import Clock
from bench.problem import Problem
from bench.procedure.job import UsedFile
from bench.procedure.journal import Event, ReadingRecord
from bench.session.atomic import save_file, sweep_parts, sync_folder
from bench.session.lock import SessionLock, held
from bench.session.place import FILE_NAME, INPUTS
from bench.session.reader import read_session
from bench.session.record import (
    InputFile,
    JobFacts,
    SessionRecord,
    event_text,
    finite,
    head_text,
    reading_text,
)


class SessionStore:
    """A session being written; implements `bench.procedure.journal.Journal`.

    Made by `create` or `reopen`. While it lives no other program can write the same session. What can't be
    written is held and written with the next call that can; `unsaved` says so meanwhile.
    """

    def __init__(self, record: SessionRecord, clock: Clock, lock: SessionLock) -> None:
        self._record = record
        self._clock = clock
        self._lock = lock
        # Each entry is turned into text once; only the joining and writing is repeated at every event.
        self._readings = [reading_text(r) for r in record.readings]
        self._events = [event_text(e) for e in record.events]
        self._unsaved = ""

    @classmethod
    def create(
        cls, sessions_folder: Path, job: JobFacts, inputs: Sequence[Path | UsedFile], clock: Clock
    ) -> SessionStore:
        """Begin a session in a folder of its own.

        Args:
            sessions_folder: holds all sessions; made when it is not there.
            job: what is on the bench.
            inputs: the procedure, those it follows, and the sheets; copied verbatim, as they were when they were
                read where that is known.
            clock: names the folder and dates the events.

        Raises:
            Problem: the folder can't be made or written, or an input can't be read.
        """
        begun = clock.wall()
        try:
            folder = _new_folder(sessions_folder, begun, job.machine)
        except OSError as error:
            raise Problem(f"{sessions_folder}: no session can be begun there: {remedy(error)}") from None
        lock = None
        try:
            lock = SessionLock(folder)
            record = SessionRecord(folder, 1, f"tapebench {__version__}", begun, job, _copy(folder, inputs), (), (), ())
            store = cls(record, clock, lock)
            store._write()
            sync_folder(sessions_folder)
        except (OSError, Problem) as error:
            # Nothing was measured yet: leave no half-made session behind.
            if lock:
                lock.release()
            shutil.rmtree(folder, ignore_errors=True)
            if isinstance(error, OSError):
                raise Problem(f"{sessions_folder}: no session can be begun there: {remedy(error)}") from None
            raise
        return store

    @classmethod
    def reopen(cls, folder: Path, clock: Clock) -> SessionStore:
        """Go on with a session that was broken off.

        Raises:
            Problem: another program writes it, it is finished, damaged, or of a later version.
        """
        record = read_session(folder)
        if record.read_only:
            raise Problem(record.read_only)
        if record.done:
            raise Problem(f"{folder}: this session is finished; begin a new one")
        lock = SessionLock(folder)
        try:
            record = read_session(folder)  # it may have changed before the lock was ours
        except Problem:
            lock.release()
            raise
        sweep_parts(folder)
        return cls(record, clock, lock)

    @property
    def folder(self) -> Path:
        """The session's folder."""
        return self._record.folder

    @property
    def inputs(self) -> Path:
        """The folder with the copies of the procedure and sheets, to go on by after a resume."""
        return self.folder / INPUTS

    @property
    def job(self) -> JobFacts:
        """What is on the bench."""
        return self._record.job

    @property
    def unsaved(self) -> str:
        """A sentence while something is not on disk; "" when all is."""
        return self._unsaved

    def keep(self, records: tuple[ReadingRecord, ...]) -> None:
        """Keep readings. When this returns they are on disk, and so is all that was unsaved before.

        Raises:
            Problem: the session can't be written; they are held, and written with the next call that can.
        """
        records = tuple(finite(r) for r in records)
        self._record = replace(self._record, readings=self._record.readings + records)
        self._readings += [reading_text(r) for r in records]
        self._save()

    def note(self, event: Event) -> None:
        """Keep an event, likewise."""
        self._record = replace(self._record, events=(*self._record.events, event))
        self._events.append(event_text(event))
        self._save()

    def step_done(self, step: str) -> None:
        """The step is over: resuming continues after it."""
        self._record = replace(self._record, steps_done=(*self._record.steps_done, step))
        self._save()

    def finish(self, outcome: str) -> None:
        """The run came to its end: it will not be offered for resuming. Says nothing when that is noted already."""
        if not self._record.done:
            self.note(Event("done", "", outcome, self._clock.wall()))

    def records(self) -> tuple[ReadingRecord, ...]:
        """All readings so far, oldest first."""
        return self._record.readings

    def events(self) -> tuple[Event, ...]:
        """All events so far, oldest first."""
        return self._record.events

    def steps_done(self) -> tuple[str, ...]:
        """The steps that are over, in order, those of before a resume included."""
        return self._record.steps_done

    def save_again(self) -> bool:
        """Try again to write what is unsaved; True when all is on disk. Never raises: for a timer."""
        if self._unsaved:
            with suppress(Problem):
                self._save()
        return not self._unsaved

    def close(self) -> str:
        """Let go of the session.

        Returns:
            "" when all is on disk. Else a sentence that names the file to which what could not be saved in its
            place was rescued.
        """
        said = ""
        if not self.save_again():
            said = self._rescue()
        self._lock.release()
        return said

    def _save(self) -> None:
        try:
            self._write()
        except OSError as error:
            self._unsaved = f"{self.folder}: not saved yet: {remedy(error)}; what was measured is held meanwhile"
            raise Problem(self._unsaved) from None
        self._unsaved = ""

    def _write(self) -> None:
        save_file(self.folder / FILE_NAME, self._text())

    def _text(self) -> bytes:
        return "".join([head_text(self._record), *self._readings, *self._events]).encode()

    def _rescue(self) -> str:
        try:
            rescued = Path(tempfile.mkdtemp(prefix="tapebench-rescued-")) / FILE_NAME
            save_file(rescued, self._text())
        except OSError as error:
            return f"{self._unsaved}; and it could not be rescued elsewhere: {remedy(error)}"
        return f"{self._unsaved}; it was rescued to {rescued}: copy it to {self.folder / FILE_NAME}"


@dataclass(frozen=True, slots=True)
class Unfinished:
    """A session that broke off."""

    folder: Path
    machine: str = ""
    procedure: str = ""
    begun: datetime | None = None
    readings: int = 0
    last_step: str = ""
    """The last step that was over."""
    problem: str = ""
    """Set when it cannot be resumed: damaged, or of a later version."""


def unfinished(sessions_folder: Path) -> list[Unfinished]:
    """The sessions that broke off, newest first; those that a living program is writing are left out."""
    out = []
    for path in sorted(sessions_folder.glob(f"*/{FILE_NAME}"), reverse=True):
        try:
            with path.open("rb") as file:
                if b"\ndone = true\n" in file.read(200):
                    continue
            if held(path.parent):
                continue
            record = read_session(path.parent)
        except OSError as error:
            out.append(Unfinished(path.parent, problem=f"{path}: cannot be read: {error.strerror}"))
            continue
        except Problem as problem:
            out.append(Unfinished(path.parent, problem=problem.sentence))
            continue
        last = record.steps_done[-1] if record.steps_done else ""
        job = record.job
        out.append(
            Unfinished(
                path.parent, job.machine, job.procedure, record.begun, len(record.readings), last, record.read_only
            )
        )
    return out


def remedy(error: OSError) -> str:
    """What the operating system says, and what to do."""
    what = error.strerror or str(error)
    todo = {
        errno.ENOSPC: "make room on the disk",
        errno.EFBIG: "make room on the disk",
        getattr(errno, "EDQUOT", errno.ENOSPC): "make room on the disk",
        errno.EACCES: "make the folder writable or choose another workspace",
        errno.EPERM: "make the folder writable or choose another workspace",
        errno.EROFS: "make the folder writable or choose another workspace",
        errno.ENOENT: "put the folder back",
        errno.EEXIST: "move what is in its place away or choose another workspace",
        errno.ENOTDIR: "move what is in its place away or choose another workspace",
    }.get(error.errno or 0, "look after the disk")
    return f"{what[:1].lower()}{what[1:]}: {todo}"


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


def _copy(folder: Path, inputs: Sequence[Path | UsedFile]) -> tuple[InputFile, ...]:
    out: list[InputFile] = []
    taken: set[str] = set()
    for item in inputs:
        path = item if isinstance(item, Path) else item.path
        try:
            data = item.read_bytes() if isinstance(item, Path) else item.content
        except OSError as error:
            raise Problem(f"{path}: cannot be read: {error.strerror}") from None
        place = _place(path, taken)
        taken.add(place.as_posix())
        target = folder / INPUTS / place
        target.parent.mkdir(parents=True, exist_ok=True)
        save_file(target, data)
        out.append(InputFile(f"{INPUTS}/{place.as_posix()}", hashlib.sha256(data).hexdigest()))
    return tuple(out)


def _place(path: Path, taken: set[str]) -> PurePosixPath:
    """Where below `inputs/`: as below the nearest `procedures` folder, so that the copies can be run by again."""
    parts = path.resolve().parts
    below = parts[:-1]
    place = PurePosixPath(path.name)
    if "procedures" in below:
        place = PurePosixPath(*parts[len(below) - below[::-1].index("procedures") :])
    elif path.parent.name in {"machines", "tapes", "reference-tapes", "interfaces", "faults"}:
        place = PurePosixPath("sheets", path.parent.name, path.name)
    n = 2
    free = place
    while free.as_posix() in taken:
        free = place.with_name(f"{place.stem}-{n}{place.suffix}")
        n += 1
    return free
