"""A fault in the middle of a run: one line says where the accepted readings are and which file to send; exit code 3."""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from bench import cli
from bench.commands import run_options
from bench.procedure.kinds.activity import Activity
from bench.procedure.kinds.by_hand.by_hand import ByHandActivity
from bench.procedure.kinds.listen.reference import ReferenceActivity
from bench.procedure.run.desk import Desk
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Answered
from bench.session.record import store
from bench.session.record.atomic import save_file
from bench.session.record.lock import is_locked
from bench.session.record.reader import read_session
from tests.procedure.flow_bench import CLEAN, HEAD, words
from tests.smooth import smooth_procedures


class Lines(io.StringIO):
    """A stdin that delivers its lines one at a time."""

    def __init__(self, lines: Iterator[str]) -> None:
        super().__init__()
        self._lines = lines

    def __iter__(self) -> Any:
        return self._lines


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    smooth_procedures(tmp_path / "procedures")
    (tmp_path / "procedures" / "t.toml").write_text(HEAD + words("kept") + CLEAN, encoding="utf-8")
    return tmp_path


def inject(monkeypatch: pytest.MonkeyPatch, kind: type[Activity[Any]], method: str) -> threading.Event:
    """Make a method fail; the event is set when it has."""
    failed = threading.Event()

    def fails(*_: object) -> None:
        failed.set()
        raise ZeroDivisionError("injected")

    monkeypatch.setattr(kind, method, fails)
    return failed


def typed(failed: threading.Event) -> Iterator[str]:
    """What a person types: an answer, then the go-on key when the next step is shown."""
    yield "the last word\n"
    failed.wait(2.0)
    yield "\n"


def stopped(folder: Path, capsys: pytest.CaptureFixture[str], args: list[str]) -> Path:
    """Run it, check what must be printed, and return the session."""
    assert cli.main(["--workspace", str(folder), *args]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    last = err.splitlines()[-1]
    (session,) = (folder / "sessions").iterdir()
    before = f"tapebench: a fault of this program (ZeroDivisionError: injected); what was accepted is safe in {session}"
    assert last.startswith(f"{before}; please send us ")
    file = Path(last.rsplit(" ", 1)[1])
    assert "ZeroDivisionError: injected" in file.read_text(encoding="utf-8")
    file.unlink()
    assert "Traceback" not in err
    assert not is_locked(session)
    return session


def answers(session: Path) -> list[Any]:
    return [e.answer for e in of_kind(read_session(session).events, Answered)]


@pytest.mark.parametrize("method", ["begin", "view", "go_on", "end"])
def test_in_a_rehearsal(
    method: str, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    inject(monkeypatch, ByHandActivity, method)
    session = stopped(folder, capsys, ["rehearse", "t", "--json"])
    assert len(answers(session)) == 1
    assert not read_session(session).done


@pytest.mark.parametrize("method", ["begin", "view", "go_on", "end"])
def test_in_plain_text(
    method: str, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    failed = inject(monkeypatch, ByHandActivity, method)
    monkeypatch.setattr("sys.stdin", Lines(typed(failed)))
    session = stopped(folder, capsys, ["run", "t", "--plain"])
    assert answers(session) == ["the last word"]


@pytest.mark.parametrize("method", ["begin", "view", "hear", "port_ended", "end"])
def test_on_a_capture(
    method: str, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    inject(monkeypatch, ReferenceActivity, method)
    soundfile.write(folder / "capture.wav", np.zeros((48000, 2)), 48000)
    stopped(folder, capsys, ["run", "play-reference", "--port", str(folder / "capture.wav")])


def test_an_interrupt_stops_the_bench_thread_before_the_session_is_closed(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    desks: list[Desk] = []
    start = Desk.start

    def interrupted(desk: Desk) -> None:
        start(desk)
        desks.append(desk)
        raise KeyboardInterrupt

    monkeypatch.setattr(Desk, "start", interrupted)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert cli.main(["--workspace", str(folder), "run", "t", "--plain"]) == 130
    (session,) = (folder / "sessions").iterdir()
    last = capsys.readouterr().err.splitlines()[-1]
    assert last == f"tapebench: interrupted; what was accepted is safe in {session}"
    assert not desks[0].alive
    assert not is_locked(session)


def test_leaving_while_a_slow_disk_is_written_claims_nothing_and_keeps_the_lock(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ctrl+C while an answer is being written, and again while the program waits for it."""
    writing, on, said = threading.Event(), threading.Event(), list[str]()
    pressed: list[str] = []

    def slow(path: Path, data: bytes) -> None:
        if b"the last word" in data and not on.is_set():
            writing.set()
            assert on.wait(120)
        save_file(path, data)

    def watched(desk: Desk) -> bool:
        if writing.is_set() and not pressed:
            pressed.append("Ctrl+C")
            raise KeyboardInterrupt
        return desk._thread.is_alive()

    def narrate(line: str) -> None:
        said.append(line)
        if "not all is on disk yet" in line:
            raise KeyboardInterrupt

    monkeypatch.setattr(store, "save_file", slow)
    monkeypatch.setattr(Desk, "alive", property(watched))
    monkeypatch.setattr(run_options, "narrate", narrate)
    monkeypatch.setattr("sys.stdin", io.StringIO("the last word\n"))
    assert cli.main(["--workspace", str(folder), "run", "t", "--plain"]) == 130
    (session,) = (folder / "sessions").iterdir()
    last = capsys.readouterr().err.splitlines()[-1]
    assert last.endswith(f"{session}: still being written; what was accepted last may not be on disk")
    assert said[-1].startswith("! not all is on disk yet: waiting, 2 s so far")
    assert is_locked(session)
    on.set()
    for thread in threading.enumerate():
        if thread.name == "bench":
            thread.join(30)
    assert answers(session) == ["the last word"]
