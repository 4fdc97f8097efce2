"""The store: kept entries are on disk; those that cannot be written are held, reported and written later."""

from __future__ import annotations

import errno
import hashlib
import os
import resource
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.audio import flac
from bench.clock import RehearsalClock
from bench.measure.method import Method
from bench.measure.reading import NoReading, Reading
from bench.problem import Problem
from bench.procedure.model.job import UsedFile
from bench.procedure.state.event_kinds import Event
from bench.procedure.state.events import Done, Noted
from bench.procedure.state.journal import Journal, ReadingRecord, Sound
from bench.session.record.atomic import PART
from bench.session.record.lock import LOCK_NAME
from bench.session.record.reader import read_session
from bench.session.record.record import JobFacts
from bench.session.record.steps import StepFacts
from bench.session.record.store import SessionStore, unfinished
from tests.cases import cases
from tests.session.made_up import JOB, START, whole
from tests.session.strategies import events, jobs, letters, records, steps

NOISE = np.random.default_rng(1).uniform(-0.5, 0.5, size=(4000, 2)).astype(np.float32)
CLOCK = RehearsalClock(START)


def a_reading(n: int) -> ReadingRecord:
    reading = Reading("level", "left", -12.0 + n / 10, 0.1, frequency_hz=315.0, method=Method("steady tone"))
    return ReadingRecord(f"r{n:04d}", "step", "left", True, "reference tape", reading, None, START)


def fresh(folder: Path, job: JobFacts = JOB) -> SessionStore:
    return SessionStore.create(folder / "sessions", job, [], CLOCK)


# ---------------------------------------------------------------- beginning


def test_the_store_is_a_journal(tmp_path: Path) -> None:
    journal: Journal = fresh(tmp_path)
    assert journal.records() == ()
    assert journal.events() == ()
    assert journal.steps_done() == ()


def test_a_session_is_never_made_over_another(tmp_path: Path) -> None:
    stores = [fresh(tmp_path) for _ in range(3)]
    assert [s.folder.name for s in stores] == [
        "2026-05-03-1012-lanternhill-two-head-deck",
        "2026-05-03-1012-lanternhill-two-head-deck-2",
        "2026-05-03-1012-lanternhill-two-head-deck-3",
    ]


@pytest.mark.parametrize(
    ("machine", "slug"),
    [
        ("Dörte's Déck / No. 7", "dorte-s-deck-no-7"),
        ("../../etc", "etc"),
        ("機械", "machine"),
        ("", "machine"),
        ("x" * 200, "x" * 40),
    ],
)
def test_the_folder_is_named_by_date_and_machine(tmp_path: Path, machine: str, slug: str) -> None:
    store = fresh(tmp_path, replace(JOB, machine=machine))
    assert store.folder.parent == tmp_path / "sessions"
    assert store.folder.name == f"2026-05-03-1012-{slug}"


def test_inputs_are_copied_verbatim_in_their_places(tmp_path: Path) -> None:
    procedures = tmp_path / "procedures"
    for place in ("line-up.toml", "sheets/machines/deck.toml", "sheets/tapes/deck.toml"):
        (procedures / place).parent.mkdir(parents=True, exist_ok=True)
        (procedures / place).write_bytes(f"# {place}\r\n".encode() + b"\xff\x00")
    elsewhere = tmp_path / "line-up.toml"
    elsewhere.write_text("another of the same name")
    used = UsedFile(procedures / "sheets" / "tapes" / "deck.toml", b"as it was when it was read")
    inputs: list[Path | UsedFile] = [
        procedures / "line-up.toml",
        procedures / "sheets" / "machines" / "deck.toml",
        used,
        elsewhere,
    ]
    store = SessionStore.create(tmp_path / "sessions", JOB, inputs, CLOCK)
    expected = {
        "inputs/line-up.toml": (procedures / "line-up.toml").read_bytes(),
        "inputs/sheets/machines/deck.toml": (procedures / "sheets" / "machines" / "deck.toml").read_bytes(),
        "inputs/sheets/tapes/deck.toml": b"as it was when it was read",
        "inputs/line-up-2.toml": b"another of the same name",
    }
    listed = {i.path: i.sha256 for i in read_session(store.folder).inputs}
    assert listed == {path: hashlib.sha256(data).hexdigest() for path, data in expected.items()}
    for path, data in expected.items():
        assert (store.folder / path).read_bytes() == data


def test_a_missing_input_leaves_no_half_made_session(tmp_path: Path) -> None:
    with pytest.raises(Problem, match=r"gone\.toml: cannot be read"):
        SessionStore.create(tmp_path / "sessions", JOB, [tmp_path / "gone.toml"], CLOCK)
    assert list((tmp_path / "sessions").iterdir()) == []


def test_a_file_where_the_sessions_folder_should_be_is_said(tmp_path: Path) -> None:
    (tmp_path / "sessions").write_text("")
    with pytest.raises(Problem, match="no session can be begun there"):
        fresh(tmp_path)


# ---------------------------------------------------------------- round trip


@cases(40)
@given(
    job=jobs,
    kept=st.lists(records, max_size=3),
    noted=st.lists(events, max_size=3),
    of_job=st.lists(steps, max_size=3).map(tuple),
    over=st.lists(st.text(letters), max_size=3),
)
def test_what_is_kept_is_what_is_read(
    job: JobFacts,
    kept: list[ReadingRecord],
    noted: list[Event],
    of_job: tuple[StepFacts, ...],
    over: list[str],
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        store = SessionStore.create(Path(folder), job, [], CLOCK, steps=of_job)
        store.keep(tuple(kept))
        for event in noted:
            store.note(event)
        for step in over:
            store.step_done(step)
        assert store.close() == ""
        read = read_session(store.folder)
        assert read.job == job
        assert read.readings == tuple(kept)
        assert read.events == tuple(noted)
        assert read.steps == of_job
        assert read.steps_done == tuple(over)
        assert read.begun == START
        assert not read.done
        again = SessionStore.reopen(store.folder)
        assert again.records() == tuple(kept)
        before = (store.folder / "session.toml").read_bytes()
        again.save_again()
        again.step_done("more")
        assert (store.folder / "session.toml").read_bytes() != before
        again.close()


def test_a_value_that_is_no_number_becomes_no_reading_with_its_reason(tmp_path: Path) -> None:
    store = fresh(tmp_path)
    record = a_reading(1)
    made = record.reading
    assert isinstance(made, Reading)
    for n, value in enumerate((float("nan"), float("inf"))):
        store.keep((replace(record, id=f"r{n}", reading=replace(made, value=value)),))
    store.keep((replace(record, id="r9", reading=replace(made, uncertainty=float("inf"))),))
    for kept in read_session(store.folder).readings:
        assert isinstance(kept.reading, NoReading)
        assert kept.reading.reason == "the measurement gave no finite number"
    assert read_session(store.folder).readings == store.records()


def test_a_name_that_no_file_can_hold_is_kept_as_far_as_it_goes(tmp_path: Path) -> None:
    store = fresh(tmp_path, replace(JOB, port="device \udcff"))
    store.note(Noted("typed \ud800", step="step", time=START))
    assert read_session(store.folder).job.port == "device ?"


# ---------------------------------------------------------------- going on


def test_a_broken_off_session_is_gone_on_with(tmp_path: Path) -> None:
    store = fresh(tmp_path)
    store.keep((a_reading(1),))
    store.step_done("first")
    store.close()
    (store.folder / f".session.toml.00000000{PART}").write_bytes(b"half")
    again = SessionStore.reopen(store.folder)
    assert again.job == JOB
    assert again.steps_done() == ("first",)
    assert not list(store.folder.glob(f"*{PART}"))
    again.keep((a_reading(2),))
    again.note(Done(time=START))
    again.close()
    assert [r.id for r in read_session(store.folder).readings] == ["r0001", "r0002"]
    with pytest.raises(Problem, match="finished"):
        SessionStore.reopen(store.folder)


def test_one_program_at_a_time(tmp_path: Path) -> None:
    store = fresh(tmp_path)
    with pytest.raises(Problem, match=f"process {os.getpid()}"):
        SessionStore.reopen(store.folder)
    store.close()
    SessionStore.reopen(store.folder).close()


def test_sessions_that_broke_off_are_offered_newest_first(tmp_path: Path) -> None:
    sessions = tmp_path / "sessions"
    assert unfinished(sessions) == []
    whole(tmp_path)
    older = whole(tmp_path, finish=False)
    newer = SessionStore.create(sessions, JOB, [], RehearsalClock(datetime(2026, 6, 1, 9, 0, tzinfo=UTC)))
    newer.keep((a_reading(1),))
    assert [u.folder for u in unfinished(sessions)] == [older]  # the newer one is being written
    newer.close()
    damaged = sessions / "2026-07-01-0900-deck"
    damaged.mkdir()
    (damaged / "session.toml").write_text("schema = 1\ndone = fal")
    (sessions / "README.md").write_text("")
    unreadable = sessions / "2026-08-01-0900-deck"
    (unreadable / "session.toml").mkdir(parents=True)
    first, *offered = unfinished(sessions)
    assert (first.folder, first.problem) == (unreadable, f"{unreadable}/session.toml: cannot be read: Is a directory")
    assert [u.folder for u in offered] == [damaged, newer.folder, older]
    assert "damaged" in offered[0].problem
    assert offered[1].readings == 1
    assert offered[2].last_step == "Sign off"
    assert (offered[2].machine, offered[2].procedure, offered[2].begun) == (JOB.machine, JOB.procedure, START)
    assert offered[2].problem == ""


# ---------------------------------------------------------------- when the disk refuses


@contextmanager
def refusing(monkeypatch: pytest.MonkeyPatch, code: int) -> Iterator[None]:
    real = os.open

    def opened(path: str, flags: int, mode: int = 0o777, *, dir_fd: int | None = None) -> int:
        if str(path).endswith(PART):
            raise OSError(code, os.strerror(code))
        return real(path, flags, mode, dir_fd=dir_fd)

    with monkeypatch.context() as patched:
        patched.setattr(os, "open", opened)
        yield


@pytest.mark.parametrize(
    ("code", "remedy"),
    [
        (errno.ENOSPC, "make room on the disk"),
        (errno.EROFS, "make the folder writable or choose another workspace"),
        (errno.EACCES, "make the folder writable or choose another workspace"),
        (errno.ENOENT, "put the folder back"),
        (errno.EIO, "look after the disk"),
    ],
)
def test_what_cannot_be_written_is_said_held_and_written_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int, remedy: str
) -> None:
    store = fresh(tmp_path)
    store.keep((a_reading(1),))
    with refusing(monkeypatch, code):
        with pytest.raises(Problem) as raised:
            store.keep((a_reading(2),))
        assert remedy in raised.value.sentence
        assert str(store.folder) in raised.value.sentence
        assert store.unsaved == raised.value.sentence
        with pytest.raises(Problem):
            store.note(Noted("still here", step="step", time=START))
        with pytest.raises(Problem):
            store.step_done("step")
        assert not store.save_again()
        assert [r.id for r in store.records()] == ["r0001", "r0002"]
        assert [r.id for r in read_session(store.folder).readings] == ["r0001"]
    assert store.save_again()
    assert store.unsaved == ""
    read = read_session(store.folder)
    assert read.readings == store.records()
    assert read.events == store.events()
    assert read.steps_done == ("step",)


def test_the_next_call_that_can_writes_everything(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = fresh(tmp_path)
    with refusing(monkeypatch, errno.ENOSPC), pytest.raises(Problem):
        store.keep((a_reading(1),))
    store.note(Noted("there is room again", step="step", time=START))
    assert store.unsaved == ""
    assert len(read_session(store.folder).readings) == 1


def test_what_is_unsaved_at_the_end_is_rescued(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = fresh(tmp_path)
    folder = str(store.folder)
    real = os.open

    def opened(path: str, flags: int, mode: int = 0o777, *, dir_fd: int | None = None) -> int:
        if str(path).startswith(folder) and str(path).endswith(PART):
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))
        return real(path, flags, mode, dir_fd=dir_fd)

    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    with monkeypatch.context() as patched:
        patched.setattr(os, "open", opened)
        with pytest.raises(Problem):
            store.keep((a_reading(1), a_reading(2)))
        said = store.close()
    rescued = next(tmp_path.glob("tapebench/rescued/*/session.toml"))
    assert str(rescued) in said
    assert "read-only" in said.lower()
    assert [r.id for r in read_session(rescued.parent).readings] == ["r0001", "r0002"]


def test_no_session_is_begun_where_nothing_can_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with refusing(monkeypatch, errno.EROFS), pytest.raises(Problem, match="no session can be begun there"):
        fresh(tmp_path)
    assert list((tmp_path / "sessions").iterdir()) == []


def test_what_is_not_in_its_place_yet_is_kept_elsewhere_until_it_is(tmp_path: Path, own_data_folder: Path) -> None:
    """The folder vanishes, as a network drive does, and comes back."""
    store = fresh(tmp_path)
    store.keep((a_reading(1),))
    away = tmp_path / "away"
    store.folder.rename(away)
    with pytest.raises(Problem, match="put the folder back"):
        store.keep((a_reading(2),))
    (copy,) = own_data_folder.glob("tapebench/rescued/*/session.toml")
    assert str(copy) in store.unsaved
    assert [r.id for r in read_session(copy.parent).readings] == ["r0001", "r0002"]
    with pytest.raises(Problem):
        store.keep((a_reading(3),))
    assert len(read_session(copy.parent).readings) == 3
    assert not store.folder.exists()  # nothing is written to a place that is not that of the session
    away.rename(store.folder)
    assert store.save_again()
    assert store.unsaved == ""
    assert [r.id for r in read_session(store.folder).readings] == ["r0001", "r0002", "r0003"]
    assert not copy.exists()
    with pytest.raises(Problem, match="being written by"):
        SessionStore.reopen(store.folder)
    assert store.close() == ""


def test_a_folder_that_came_back_in_another_programs_hands_is_not_written(tmp_path: Path) -> None:
    store = fresh(tmp_path)
    store.keep((a_reading(1),))
    (store.folder / LOCK_NAME).unlink()  # as with a drive that lost it
    other = SessionStore.reopen(store.folder)
    with pytest.raises(Problem, match="being written by process"):
        store.keep((a_reading(2),))
    assert [r.id for r in read_session(store.folder).readings] == ["r0001"]
    other.note(Noted("the other's", step="step", time=START))
    other.close()
    before = (store.folder / "session.toml").read_bytes()
    assert not store.save_again()  # free again, but no longer what this program wrote
    assert "was written by another program meanwhile" in store.unsaved
    assert "copy it to" in store.close()
    assert (store.folder / "session.toml").read_bytes() == before


def fill(store: SessionStore) -> int:
    """Keep readings until the disk refuses; returns how many were kept."""
    for n in range(1, 2000):
        try:
            store.keep((a_reading(n),))
        except Problem as problem:
            said = problem.sentence
            break
    assert "make room on the disk" in said
    return n - 1


@pytest.mark.skipif(os.name == "nt", reason="no such limit")
def test_a_file_that_may_not_grow(tmp_path: Path) -> None:
    """The system refuses the write, because the size of files is limited for this process."""
    store = fresh(tmp_path)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (6000, hard))
    try:
        kept = fill(store)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert 5 < kept < 100
    assert [r.id for r in read_session(store.folder).readings] == [f"r{n:04d}" for n in range(1, kept + 1)]
    assert store.save_again()
    assert len(read_session(store.folder).readings) == kept + 1


@contextmanager
def small_disk(folder: Path, size: str) -> Iterator[Path]:
    """A separate file system, if this computer allows mounting one."""
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={size}", "none", str(folder)], capture_output=True, check=False
    )
    if made.returncode:
        pytest.skip("no file system can be mounted here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.mark.skipif(os.name == "nt", reason="no mount")
def test_a_disk_that_fills_up(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", "64k") as disk:
        store = fresh(disk)
        kept = fill(store)
        assert kept > 20
        assert [r.id for r in read_session(store.folder).readings] == [f"r{n:04d}" for n in range(1, kept + 1)]
        assert not list(store.folder.glob(f".*{PART}"))
        subprocess.run(["mount", "-o", "remount,size=1m", str(disk)], check=True)
        assert store.save_again()
        assert len(read_session(store.folder).readings) == kept + 1
        store.close()


def attempt(do: Callable[[], object]) -> str:
    """Try it; returns the message of the problem."""
    try:
        do()
    except Problem as problem:
        return problem.sentence
    return ""


def on_a_disk_with(room: int, disk: Path) -> str:
    """Make everything that a store writes on a disk with this many free blocks; returns where space first ran out."""
    ballast = disk / "ballast"
    about = os.statvfs(disk)
    ballast.write_bytes(bytes(about.f_bsize * max(0, about.f_bavail - room)))
    made: list[SessionStore] = []
    create = partial(SessionStore.create, disk / "sessions", JOB, [disk / "p.toml"], CLOCK, evidence=True)
    said = attempt(lambda: made.append(create()))
    if said:
        assert "make room on the disk" in said
        assert not list(disk.glob("sessions/*"))
        return "at its beginning"
    store, kept, first = made[0], 0, ""
    work = [
        *((f"at reading {n}", partial(store.keep, (a_long_reading(n),))) for n in range(1, 7)),
        ("at the sound", partial(store.keep_sound, Sound(flac.encoded(NOISE, 48000), ("r0001",)))),
        ("at the note", partial(store.note, Noted("noted" * 1000, step="step", time=START))),
        ("at the end", partial(store.note, Done(step="sign" * 1400, time=START))),
    ]
    for what, do in work:
        said = attempt(do)
        first = first or (what if said else "")
        kept = kept if said else len(store.records())
        assert said == store.unsaved
        assert "make room on the disk" in said or not said
        assert len(read_session(store.folder).readings) == kept
        assert not list(store.folder.rglob(f".*{PART}"))
    ballast.unlink()
    assert store.save_again()
    done = read_session(store.folder)
    assert [r.id for r in done.readings] == [f"r{n:04d}" for n in range(1, 7)]
    assert done.done
    assert (store.folder / done.evidence[0].path).stat().st_size > 0
    store.close()
    shutil.rmtree(store.folder)
    return first


def a_long_reading(n: int) -> ReadingRecord:
    """One block of the disk."""
    record = a_reading(n)
    return replace(record, reading=replace(record.reading, method=Method("steady tone " * 400)))


@pytest.mark.skipif(os.name == "nt", reason="no mount")
def test_a_disk_that_is_full_at_each_write(tmp_path: Path) -> None:
    """One free block more each time until everything fits, so that space runs out at every write in turn."""
    with small_disk(tmp_path / "disk", "256k") as disk:
        (disk / "p.toml").write_text("format = 1\n" * 500)
        ran_out = [on_a_disk_with(room, disk) for room in range(2, 36)]
    assert ran_out[0] == "at its beginning"
    assert ran_out[-1] == ""
    assert {"at reading 1", "at reading 3", "at reading 5", "at the sound", "at the note"} <= set(ran_out)


@pytest.mark.skipif(os.name == "nt", reason="no mount")
def test_a_folder_that_turns_read_only(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", "1m") as disk:
        store = fresh(disk)
        store.keep((a_reading(1),))
        # A read-only bind mount over the folder, as when a drive is remounted after an error.
        subprocess.run(["mount", "--bind", str(disk), str(disk)], check=True)
        subprocess.run(["mount", "-o", "remount,bind,ro", str(disk)], check=True)
        try:
            with pytest.raises(Problem, match="make the folder writable"):
                store.keep((a_reading(2),))
            with pytest.raises(Problem, match="no session can be begun there"):
                fresh(disk)
            with pytest.raises(Problem, match="cannot be opened for writing"):
                SessionStore.reopen(store.folder)
        finally:
            subprocess.run(["umount", "-l", str(disk)], check=True)
        assert store.save_again()
        assert len(read_session(store.folder).readings) == 2
        store.close()
