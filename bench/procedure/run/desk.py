"""The bench thread, the only user of port, runner and journal. It takes commands from a queue and emits snapshots."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from contextlib import suppress

from bench.audio.port import Port
from bench.clock import Clock
from bench.procedure.run.commands import Command, Hold, Leave, StopSound
from bench.procedure.run.runner import Runner
from bench.procedure.run.views import stopped_view
from bench.procedure.state.snapshot import Snapshot

SHOW_EVERY_S = 0.05
"""Least time between two snapshots."""

READ_S = 0.04
"""Longest wait of a read for sound; a command is obeyed within this time."""

REOPEN_EVERY_S = 1.0

SAY_EVERY_S = 2.0
"""Time between two messages of `wait`."""


class Desk:
    """Runs a runner on its own thread.

    Whatever fails there, the thread closes the port and sends a last snapshot whose outcome says what happened.
    """

    def __init__(self, runner: Runner, port: Port, clock: Clock, on_snapshot: Callable[[Snapshot], None]) -> None:
        self._runner = runner
        self._port = port
        self._clock = clock
        self._on_snapshot = on_snapshot
        self._commands: queue.SimpleQueue[Command] = queue.SimpleQueue()
        self._posting = threading.Lock()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._work, name="bench", daemon=True)
        self._tried = 0.0
        self._latest: Snapshot | None = None
        self.fault: BaseException | None = None
        """The exception that ended the thread; None after an orderly end."""

    @property
    def latest(self) -> Snapshot | None:
        """The last snapshot; None before the first."""
        return self._latest

    @property
    def alive(self) -> bool:
        """Whether the bench thread is running."""
        return self._thread.is_alive()

    def start(self) -> None:
        """Open the port and begin. Raises `Problem` when the port cannot be opened."""
        self._port.open()
        self._thread.start()

    def post(self, command: Command) -> None:
        """Queue a command; from any thread, never blocks.

        One that ends sound mutes the port at once, because the bench thread may be waiting for a slow disk. The port
        stays muted until the command has been obeyed, whatever is sent in the meantime.
        """
        with self._posting:
            if isinstance(command, StopSound | Hold | Leave):
                self._port.mute(True)
            self._commands.put(command)

    def stop(self, limit_s: float = 5.0) -> bool:
        """Mute the port, ask the thread to end, and wait for it.

        Returns:
            Whether it has ended. Until it has, it may still be writing, so the session must not be closed, nor be
            reported as saved.
        """
        self._stopping.set()
        self._port.mute(True)
        if self._thread.is_alive():
            self._thread.join(limit_s)
        return not self._thread.is_alive()

    def wait(self, line: Callable[[str], None]) -> None:
        """Ask the thread to end, and wait as long as it takes. Only an interrupt ends the wait early.

        Args:
            line: receives a sentence every few seconds of the wait.
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
        """Silence the port first, then show the last snapshot."""
        try:
            self._port.close()
            if self.fault is None:
                self._show()
        except BaseException as fault:
            self.fault = self.fault or fault
        if self.fault is not None:
            with suppress(Exception):  # the watcher may be what failed; the caller also sees `fault`
                self._latest = stopped_view(self._runner.job, self._runner.at, self._port.status, self.fault)
                self._on_snapshot(self._latest)

    def _obey_all(self) -> bool:
        obeyed = False
        while True:
            try:
                command = self._commands.get_nowait()
            except queue.Empty:
                break
            self._runner.obey(command)
            obeyed = True
        with self._posting:
            if obeyed and self._commands.empty() and not self._stopping.is_set():
                self._port.mute(False)
        return obeyed

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
            self._stopping.wait(READ_S)  # a capture is not read until a step listens
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
