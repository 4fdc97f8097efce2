"""The bench thread: after any fault it ends in order and reports it; nothing is called saved while it still writes."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from bench.audio.output_buffer import AHEAD_S, OutputBuffer
from bench.audio.port import Block, Port, PortStatus
from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run, resume_run
from bench.problem import Problem
from bench.procedure.kinds.activity import Activity
from bench.procedure.kinds.adjust.ladder import LadderActivity
from bench.procedure.kinds.adjust.live import LiveAdjustActivity
from bench.procedure.kinds.adjust.rounds import RoundsActivity
from bench.procedure.kinds.by_hand.by_hand import ByHandActivity
from bench.procedure.kinds.by_hand.decision import DecisionActivity
from bench.procedure.kinds.by_hand.entry import EntryActivity
from bench.procedure.kinds.by_hand.question import QuestionActivity
from bench.procedure.kinds.listen.record_replay import RecordReplayActivity
from bench.procedure.kinds.listen.reference import ReferenceActivity
from bench.procedure.kinds.measure.encoder_decoder import EncoderDecoderActivity
from bench.procedure.kinds.measure.erasure import ErasureActivity
from bench.procedure.kinds.measure.interface_loop import InterfaceActivity
from bench.procedure.kinds.measure.measure import MeterActivity, RecordedMeterActivity
from bench.procedure.kinds.measure.mistracking import MistrackingActivity
from bench.procedure.run import commands as say
from bench.procedure.run.desk import REOPEN_EVERY_S, Desk
from bench.procedure.run.narrated_journal import NarratedJournal
from bench.procedure.run.runner import Runner
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Answered, Noted
from bench.procedure.state.snapshot import Outcome
from bench.run_request import RunRequest
from bench.session.record import store
from bench.session.record.atomic import save_file
from bench.session.record.lock import is_locked
from bench.session.record.reader import read_session
from bench.signals.source import Source
from bench.workspace import Workspace
from tests.procedure.flow_bench import CLEAN, HEAD, words
from tests.procedure.record_bench import FULL, TWO, adjust, step
from tests.smooth import smooth_procedures

NOISE = {"records": '"silence"', "method": '"A-weighted rms"', "target": '"machine.signal_to_noise"'}
ERASURE = {"sends": FULL, "erases": "true", "target": '"machine.erasure"'}
CIRCUIT = {"noise_reduction": '"record-only"', "target": '"machine.noise_reduction_circuit"'}
BIAS = {"frequency": "10000", "reference_frequency": "400"}
RECORDED = '{ record_replay_level = "machine.record_level" }'
LEVEL = '"machine.replay_level"'
CHOICES = '[{ say = "on", go_to = "last" }, { say = "stay" }]'
LOOP = "[{ hz = 1000, dbfs = -6 }, { hz = 100, dbfs = -6 }]"

STEPS: dict[type[Activity[Any]], str] = {
    ByHandActivity: step("by-hand", "tested"),
    EntryActivity: step("entry", "tested", asks='"number"', unit='"g"'),
    DecisionActivity: step("decision", "tested", asks='"Which way?"', choices=CHOICES),
    QuestionActivity: step(
        "question", "tested", asks='"Which?"', choices='["a", "b"]', right='"a"', because='"It is."'
    ),
    ReferenceActivity: CLEAN + step("reference", "tested", targets='{ level = "machine.replay_level" }'),
    RecordReplayActivity: step("record-replay", "tested", sends=FULL, reference_hz="400", targets=RECORDED),
    LiveAdjustActivity: adjust("tested", "response", TWO, "tape.bias", "bias", **BIAS),
    RoundsActivity: adjust("tested", "response", TWO, "tape.bias", "bias", via='"rounds"', **BIAS),
    LadderActivity: adjust("tested", "response", TWO, "tape.bias", "bias", via='"ladder"', **BIAS),
    MeterActivity: step("measure", "tested", quantity='"balance"', target=LEVEL),
    RecordedMeterActivity: step("measure", "tested", quantity='"signal_to_noise"', **NOISE),
    ErasureActivity: step(
        "measure", "tested", quantity='"erasure"', sends=FULL, erases="true", target='"machine.erasure"'
    ),
    EncoderDecoderActivity: step("measure", "tested", quantity='"encoding_error"', **CIRCUIT),
    MistrackingActivity: step("measure", "tested", quantity='"mistracking"', target='"machine.mistracking"'),
    InterfaceActivity: step("interface", "tested", finds='"response"', sends=LOOP, limit="1", source='"a test"'),
}
"""A step that each kind of activity carries out."""

SOUNDLESS = {ByHandActivity, EntryActivity, DecisionActivity, QuestionActivity, MistrackingActivity}
"""Kinds that never listen."""

LISTENING = {ReferenceActivity, MeterActivity}
"""Kinds that listen from the start; the others listen once the tones are started."""

HEARD = ("hear", "port_ended")

COMMANDS: dict[str, tuple[say.Command, ...]] = {
    "begin": (),
    "view": (),
    "hear": (say.GoOn(),),
    "port_ended": (say.GoOn(),),
    "interrupted": (),
    "go_on": (say.GoOn(),),
    "answer": (say.Answer("1"),),
    "tick": (say.Tick(0),),
    "accept": (say.Accept("for the test"),),
    "hold": (say.Hold(),),
    "release": (say.Hold(), say.GoOn()),
    "end": (say.Leave(),),
}
"""The commands that make each method of an activity run."""

CASES = [
    (kind, method)
    for kind in STEPS
    for method in COMMANDS
    if not (kind in SOUNDLESS and method in ("hear", "port_ended"))
]


class Injected(Exception):  # noqa: N818 - a fault, as any
    """The exception that a test injects."""


@dataclass
class Line:
    """A port whose sound can stop, come back, or end, and which records whether it was closed."""

    port: Port
    lost: bool = False
    ended: bool = False
    closed: bool = False

    def __getattr__(self, name: str) -> Any:
        return getattr(self.port, name)

    @property
    def status(self) -> PortStatus:
        status = self.port.status
        return replace(status, state="lost" if self.lost else "ended" if self.ended else status.state)

    def read(self, timeout_s: float) -> Block | None:
        return None if self.lost or self.ended else self.port.read(timeout_s)

    def reopen(self) -> bool:
        self.lost = False
        return True

    def close(self) -> None:
        self.closed = True
        self.port.close()


class Loudspeaker(Line):
    """Such a port that also renders the output block by block, as the live port does."""

    def open(self) -> None:
        self.buffer = OutputBuffer(self.port.status.sample_rate, 960)
        self.buffer.begin(0)
        self.port.open()

    def send(self, source: Source | None) -> int:
        self.buffer.send(source)
        return self.port.send(source)

    def mute(self, muted: bool) -> None:
        self.buffer.muted = muted

    def close(self) -> None:
        self.buffer.end()
        super().close()

    @property
    def loud(self) -> bool:
        """Whether the next 0.8 s, once rendered, contain more than the fade in their first block."""
        time.sleep(2 * AHEAD_S / 10)
        return any(block is not None and bool(block.any()) for block in [self.buffer.take() for _ in range(40)][1:])


Prepare = Callable[[str], tuple[OpenRun, Line]]


def wait_for(true: Callable[[], object]) -> None:
    until = time.monotonic() + 30
    while not true():
        assert time.monotonic() < until
        time.sleep(0.005)


@pytest.fixture(scope="module")
def workspace(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    root = tmp_path_factory.mktemp("bench")
    smooth_procedures(root / "procedures")
    return Workspace(root)


@pytest.fixture
def prepare(workspace: Workspace) -> Iterator[Callable[[str], tuple[OpenRun, Line]]]:
    """Opens runs of some steps with a port that the test controls, and closes them at the end."""
    runs: list[OpenRun] = []

    def made(steps: str) -> tuple[OpenRun, Line]:
        path = workspace.root / "procedures" / "t.toml"
        path.write_text(HEAD + words("kept") + steps + words("last"), encoding="utf-8")
        run = open_run(workspace, RunRequest("t"), RehearsalClock(), real_time=False)
        line = Line(run.port)
        run = replace(run, port=line, runner=Runner(run.job, line, run.store, run.clock))
        runs.append(run)
        return run, line

    yield made
    for run in runs:
        assert run.desk is None or run.desk.stop(30)
        run.end()


def raising(fault: Exception) -> Callable[..., Any]:
    """A function that always fails."""

    def fails(*_: object) -> None:
        raise fault

    return fails


def at(desk: Desk) -> str:
    """The id of the current step."""
    return desk.latest.step.id if desk.latest is not None and desk.latest.step is not None else ""


def trimmers(desk: Desk) -> dict[str, float]:
    """Positions of the trimmers of the current step, degrees."""
    return {t.name: t.degrees for t in desk.latest.trimmers} if desk.latest is not None else {}


def outcome_of(desk: Desk) -> Outcome:
    """How the run ended, by the last snapshot."""
    assert desk.latest is not None
    assert desk.latest.outcome is not None
    return desk.latest.outcome


def come_to_the_step(run: OpenRun, desk: Desk) -> None:
    """Answer the entry, and do whatever precedes the step under test."""
    desk.post(say.Answer("something worth keeping"))
    if len(run.job.steps) > 3:
        wait_for(lambda: at(desk) == "clean")
        desk.post(say.GoOn())


@pytest.mark.parametrize(("kind", "method"), CASES, ids=[f"{k.__name__}.{m}" for k, m in CASES])
def test_a_fault_in_any_method_of_any_activity_ends_the_run_in_order(
    kind: type[Activity[Any]], method: str, prepare: Prepare, monkeypatch: pytest.MonkeyPatch
) -> None:
    original = getattr(kind, method)

    def fails(self: Activity[Any], *args: Any) -> Any:
        if self.step.id == "tested":
            raise Injected(method)
        return original(self, *args)

    monkeypatch.setattr(kind, method, fails)
    run, line = prepare(STEPS[kind])
    desk = run.make_desk(lambda _: None)
    desk.start()
    come_to_the_step(run, desk)
    if COMMANDS[method] or method == "interrupted":
        wait_for(lambda: not desk.alive or at(desk) == "tested")
    for command in () if kind in LISTENING and method in HEARD else COMMANDS[method]:
        desk.post(command)
    if method == "interrupted":
        run.clock.wait(REOPEN_EVERY_S)
        line.lost = True
    if method == "port_ended":
        wait_for(lambda: run.runner.wants_sound)
        line.ended = True
    wait_for(lambda: not desk.alive)
    assert isinstance(desk.fault, Injected)
    assert line.closed
    assert outcome_of(desk).exit_code == 3
    assert outcome_of(desk).said == "A fault of this program stopped the job at “tested”."
    assert run.end() == ""
    session = read_session(run.store.folder)
    assert [e.answer for e in of_kind(session.events, Answered)] == ["something worth keeping"]
    assert not session.done
    assert not is_locked(run.store.folder)


@pytest.mark.parametrize("method", ["begin", "hear", "tick", "obey", "snapshot", "sound_is_back"])
def test_a_fault_in_the_runner_likewise(method: str, prepare: Prepare, monkeypatch: pytest.MonkeyPatch) -> None:
    run, line = prepare(STEPS[ByHandActivity])
    desk = run.make_desk(lambda _: None)
    monkeypatch.setattr(Runner, method, raising(Injected(method)))
    if method in ("tick", "sound_is_back"):
        line.lost = True
        run.clock.wait(REOPEN_EVERY_S)
    desk.start()
    desk.post(say.GoOn())
    wait_for(lambda: not desk.alive)
    assert isinstance(desk.fault, Injected)
    assert line.closed
    assert outcome_of(desk).exit_code == 3


def test_whoever_watches_may_fail_too(prepare: Prepare) -> None:
    run, line = prepare(STEPS[ByHandActivity])
    desk = run.make_desk(raising(Injected("on the screen")))
    desk.start()
    wait_for(lambda: not desk.alive)
    assert isinstance(desk.fault, Injected)
    assert line.closed
    assert outcome_of(desk).exit_code == 3


def test_a_port_that_fails_as_it_closes_is_said(prepare: Prepare, monkeypatch: pytest.MonkeyPatch) -> None:
    run, _ = prepare(STEPS[ByHandActivity])
    monkeypatch.setattr(Line, "close", raising(Injected("closing")))
    desk = run.make_desk(lambda _: None)
    desk.start()
    desk.post(say.Leave())
    wait_for(lambda: not desk.alive)
    assert isinstance(desk.fault, Injected)
    assert outcome_of(desk).exit_code == 3


def test_what_a_person_can_put_right_is_said_as_such(prepare: Prepare, monkeypatch: pytest.MonkeyPatch) -> None:
    run, _ = prepare(STEPS[ByHandActivity])
    monkeypatch.setattr(Line, "read", raising(Problem("the capture breaks off; copy it again")))
    desk = run.make_desk(lambda _: None)
    desk.start()
    wait_for(lambda: not desk.alive)
    assert outcome_of(desk).exit_code == 2
    assert outcome_of(desk).said == "The job stopped at “Kept”: the capture breaks off; copy it again."


def test_a_job_that_a_fault_stopped_is_resumed_where_it_was_with_its_trimmers_as_turned(
    prepare: Prepare, monkeypatch: pytest.MonkeyPatch
) -> None:
    run, _ = prepare(STEPS[LiveAdjustActivity])
    desk = run.make_desk(lambda _: None)
    desk.start()
    come_to_the_step(run, desk)
    wait_for(lambda: at(desk) == "tested")
    before = trimmers(desk)
    desk.post(say.Turn("bias left", 14.0))
    wait_for(lambda: trimmers(desk) != before)
    turned = trimmers(desk)
    monkeypatch.setattr(LiveAdjustActivity, "tick", raising(Injected("in between")))
    desk.post(say.Tick(0))
    wait_for(lambda: not desk.alive)
    assert run.end() == ""
    resumed = resume_run(run.store.folder, RehearsalClock(), real_time=False)
    desk = resumed.make_desk(lambda _: None)
    desk.start()
    wait_for(lambda: at(desk) == "tested")
    assert trimmers(desk) == pytest.approx(turned)
    assert desk.stop(30)
    assert resumed.end() == ""


def test_nothing_is_closed_nor_claimed_while_a_slow_disk_is_written(
    prepare: Prepare, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk is slow to write a note, and the person leaves meanwhile."""
    run, line = prepare(STEPS[ByHandActivity])
    folder = run.store.folder
    lines: list[str] = []
    narrated = NarratedJournal(run.store, lines.append, {})
    run.runner = Runner(run.job, line, narrated, run.clock)
    desk = run.make_desk(lambda _: None)
    desk.start()
    wait_for(lambda: at(desk) == "kept")
    begun, on = threading.Event(), threading.Event()

    def slow(path: Path, data: bytes) -> None:
        begun.set()
        assert on.wait(30)
        save_file(path, data)

    monkeypatch.setattr(store, "save_file", slow)
    desk.post(say.Note("the last word"))
    assert begun.wait(30)
    assert desk.stop(0.1) is False
    assert run.end() == f"{folder}: still being written; what was accepted last may not be on disk"
    assert is_locked(folder)
    assert not any("the last word" in text for text in lines)
    waited: list[str] = []

    def after_a_while(sentence: str) -> None:
        waited.append(sentence)
        on.set()

    desk.wait(after_a_while)
    assert waited[0].startswith("not all is on disk yet: waiting, 2 s so far")
    assert run.end() == ""
    assert not is_locked(folder)
    assert [e.text for e in of_kind(read_session(folder).events, Noted)] == ["the last word"]


@pytest.mark.parametrize("key", [say.StopSound(), say.Hold(), say.Leave(), None])
def test_a_tone_is_silent_at_once_although_the_bench_thread_waits_for_a_slow_disk(
    key: say.Command | None, prepare: Prepare, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The person stops the sound, holds, leaves, or closes the screen (None); a tone requested before stays silent."""
    run, line = prepare(STEPS[LiveAdjustActivity])
    speaker = Loudspeaker(line.port)
    run = replace(run, port=speaker, runner=Runner(run.job, speaker, run.store, run.clock))
    desk = run.make_desk(lambda _: None)
    desk.start()
    come_to_the_step(run, desk)
    wait_for(lambda: at(desk) == "tested")
    desk.post(say.GoOn())
    wait_for(lambda: speaker.loud)
    begun, on = threading.Event(), threading.Event()

    def slow(path: Path, data: bytes) -> None:
        begun.set()
        assert on.wait(30)
        save_file(path, data)

    monkeypatch.setattr(store, "save_file", slow)
    desk.post(say.Note("written slowly"))
    assert begun.wait(30)
    wait_for(lambda: speaker.loud)
    desk.post(say.Repeat())
    desk.post(say.GoOn())
    if key is None:
        assert not desk.stop(0.0)
    else:
        desk.post(key)
    assert not speaker.loud
    on.set()
    while desk.alive and desk.latest is not None and not (desk.latest.held or "stopped" in desk.latest.notice):
        assert not speaker.loud
    assert not speaker.loud
    assert desk.stop(30)
    assert run.end() == ""
