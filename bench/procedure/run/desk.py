"""The bench thread: it alone owns port, runner and journal. Commands in by a queue, snapshots out by a call."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from contextlib import suppress

from bench.audio.port import Port
from bench.clock import Clock
from bench.procedure.run.commands import Command
from bench.procedure.run.runner import Runner
from bench.procedure.run.views import stopped_view
from bench.procedure.state.snapshot import Snapshot

SHOW_EVERY_S = 0.05
"""Snapshots at most this often."""

READ_S = 0.04
"""How long a read waits for sound: a key is obeyed within it."""

REOPEN_EVERY_S = 1.0

SAY_EVERY_S = 2.0
"""How often `wait` says that it is still waiting."""


class Desk:
    """Runs a runner on a thread of its own.

    Whatever goes wrong there, the thread ends in order: the port is closed, and a last snapshot with an outcome says
    what happened.
    """

    def __init__(self, runner: Runner, port: Port, clock: Clock, on_snapshot: Callable[[Snapshot], None]) -> None:
        self._runner = runner
        self._port = port
        self._clock = clock
        self._on_snapshot = on_snapshot
        self._commands: queue.SimpleQueue[Command] = queue.SimpleQueue()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._work, name="bench", daemon=True)
        self._tried = 0.0
        self._latest: Snapshot | None = None
        self.fault: BaseException | None = None
        """What ended the thread, when that was not the end of the run."""

    @property
    def latest(self) -> Snapshot | None:
        """The last snapshot; None before the first."""
        return self._latest

    @property
    def alive(self) -> bool:
        """Whether the bench thread is running."""
        return self._thread.is_alive()

    def start(self) -> None:
        """Open the port and begin. Raises `Problem` when the port can't be opened."""
        self._port.open()
        self._thread.start()

    def post(self, command: Command) -> None:
        """Tell the runner something; from any thread, never blocks."""
        self._commands.put(command)

    def stop(self, limit_s: float = 5.0) -> bool:
        """Leave, silence the port and wait for the thread.

        Returns:
            Whether it has ended. Until it has, it may be writing: the session must not be closed, nor be said to be
            on disk.
        """
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(limit_s)
        return not self._thread.is_alive()

    def wait(self, line: Callable[[str], None]) -> None:
        """Stop, and wait until the thread has ended, however slow the disk; only an interrupt ends the waiting.

        Args:
            line: takes a sentence every few seconds while there is still something to wait for.
        """
        waited_s = 0.0
        while not self.stop(SAY_EVERY_S):
            waited_s += SAY_EVERY_S
            line(f"not all is on disk yet: waiting, {waited_s:.0f} s so far; Ctrl+C leaves without what is not written")

    def _work(self) -> None:
        try:
            self._runner.begin()
            self._show()
            shown = self._clock.now()
            while not self._stopping.is_set() and not self._runner.finished:
                obeyed = self._obey_all()
                self._listen()
                now = self._clock.now()
                if obeyed or now - shown >= SHOW_EVERY_S:
                    self._show()
                    shown = now
        except BaseException as fault:
            self.fault = fault
        self._end()

    def _end(self) -> None:
        """Silence first, then the last that there is to see."""
        try:
            self._port.close()
            if self.fault is None:
                self._show()
        except BaseException as fault:
            self.fault = self.fault or fault
        if self.fault is not None:
            with suppress(Exception):  # whoever watches may be what failed; `fault` says it too
                self._latest = stopped_view(self._runner.job, self._runner.at, self._port.status, self.fault)
                self._on_snapshot(self._latest)

    def _obey_all(self) -> bool:
        obeyed = False
        while True:
            try:
                command = self._commands.get_nowait()
            except queue.Empty:
                return obeyed
            self._runner.obey(command)
            obeyed = True

    def _listen(self) -> None:
        status = self._port.status
        if status.state in ("lost", "stalled"):
            self._runner.tick()
            if self._clock.now() - self._tried >= REOPEN_EVERY_S:
                self._tried = self._clock.now()
                if self._port.reopen():
                    self._runner.sound_is_back()
                    return
            self._stopping.wait(READ_S)
            return
        if status.kind == "file" and not self._runner.wants_sound:
            self._stopping.wait(READ_S)  # a capture waits for the step that listens
            self._runner.tick()
            return
        block = self._port.read(READ_S)
        if block is None:
            if self._port.status.state == "ended":
                self._stopping.wait(READ_S)
            self._runner.tick()
        else:
            self._runner.hear(block)

    def _show(self) -> None:
        self._latest = self._runner.snapshot()
        self._on_snapshot(self._latest)
