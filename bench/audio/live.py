"""The live port: full-duplex sound through PortAudio. It needs the library only once it is opened."""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from bench.audio.devices import Device, choose
from bench.audio.library_thread import NoAnswer
from bench.audio.output_buffer import GUARD_BLOCKS, OutputBuffer
from bench.audio.port import Block, PortStatus
from bench.audio.portaudio import (
    DROP_S,
    OPEN_S,
    library,
    list_devices,
    on_portaudio,
    portaudio_message,
    portaudio_thread,
)
from bench.problem import Problem
from bench.signals.source import Source

QUEUE_S = 20.0
"""Capacity of the queue while the bench thread is held up; after that, input is lost and the tone is stopped."""
STALLED_S = 0.5
JITTER_S = 0.01
"""Least gap in the input's clock that counts as lost sound; the clock has errors of up to 3 ms (measured)."""
START_S = 0.3
"""A stream sometimes ends just after it starts; one that has run for this long has started."""
FIRST_SOUND_S = 3.0
TRIES = 5
REOPEN_S = 1.5
_BAD_RATE = -9997
"""PortAudio's paInvalidSampleRate."""


class _StreamRun:
    """One stream from its start to its end.

    Args:
        port: receives the input and provides the output.
        base: number of its first frame.
        lost: frames lost just before it.
        abort: the exception that, raised in the callback, makes PortAudio end the stream silently.
    """

    def __init__(self, port: LivePort, base: int, lost: int, abort: type[Exception]) -> None:
        self._port = port
        self.lost = lost
        self._abort = abort
        self._adc_s = 0.0
        self.next_frame = base
        self.began = threading.Event()
        self.finished = threading.Event()
        self.error: Exception | None = None
        self.last_callback_s = time.monotonic()
        self.round_trip_s = 0.0
        """The sound system's estimate of the computer's delay from output to input."""
        self.stream: Any = None

    def callback(self, indata: Any, outdata: Any, frames: int, times: Any, status: Any) -> None:
        """Called by PortAudio on its own thread: copies and queues, nothing else."""
        try:
            block = self._port.outgoing.take()
            if block is None:
                outdata.fill(0)
            else:
                outdata[:] = block
            self._keep_time(frames, times, status)
            if self._port.enqueue(indata.copy(), self.next_frame, self.lost):
                self.lost = 0
            else:
                self.lost += frames
            self.next_frame += frames
            self.began.set()
        except Exception as error:
            self.error = error
            raise self._abort from None

    def drop(self) -> None:
        """End the stream. It can hang: call it on the PortAudio thread."""
        if self.stream is not None:
            self.stream.abort(ignore_errors=True)
            self.stream.close(ignore_errors=True)

    def _keep_time(self, frames: int, times: Any, status: Any) -> None:
        now, rate = time.monotonic(), self._port.sample_rate
        # No output buffer outlasts such a pause, and the flag for it is not always set.
        held_up = self.began.is_set() and now - self.last_callback_s > STALLED_S
        flagged = bool(status) and bool(status.input_overflow or status.input_underflow)
        self._port.underflows += held_up or (bool(status) and bool(status.output_underflow))
        self._port.overflows += flagged
        if self.began.is_set() and (flagged or held_up):
            # The missing length, by the input's clock, which does not jump if this program was held up but the sound
            # system buffered the input meanwhile.
            missing = max(int(flagged), round((times.inputBufferAdcTime - self._adc_s) * rate))
            if flagged or missing > JITTER_S * rate:
                self.lost += missing
                self.next_frame += missing
        self.last_callback_s = now
        self._adc_s = times.inputBufferAdcTime + frames / rate
        self.round_trip_s = times.outputBufferDacTime - times.inputBufferAdcTime


class LivePort:
    """A sound device, input and output at once.

    Args:
        device: its name or a unique part of it, "IN / OUT" for two devices; None for the system's default.
        sample_rate: frames per second.
        block: frames per block; 20 ms is the shortest that proved reliable.
    """

    def __init__(self, device: str | None = None, sample_rate: int = 48000, block: int = 960) -> None:
        self.sample_rate = sample_rate
        self.outgoing = OutputBuffer(sample_rate, block)
        self.overflows = 0
        """Number of times that incoming sound was lost."""
        self.underflows = 0
        """Number of times that outgoing sound was interrupted."""
        self._wanted_name = device
        self._block = block
        self._name = device or "sound device"
        self.connected: tuple[Device, ...] = ()
        """The input and the output device, after opening."""
        self._channels = 2
        self._incoming: queue.SimpleQueue[tuple[NDArray[np.float32], int, int]] = queue.SimpleQueue()
        self._queue_limit = int(QUEUE_S * sample_rate / block)
        self._run: _StreamRun | None = None
        self._open = False
        self._held_up = False
        """Whether a tone was stopped because the input was not read."""

    @property
    def status(self) -> PortStatus:
        """The present state of the device."""
        state = self._state()
        detail = ""
        if self.outgoing.error is not None:
            detail = f"the tone stopped through a fault of ours ({self.outgoing.error!r})"
        elif self._held_up:
            detail = (
                f"the tone was stopped because this program was held up for {QUEUE_S:.0f} s; "
                "look at the disk, and close other programs"
            )
        elif state == "stalled":
            detail = f"no sound comes from {self._quoted_name}; look at the interface and the sound server"
        elif state == "lost":
            error = self._run.error if self._run is not None else None
            detail = f"{self._quoted_name} went away; connect it, or start the sound server, and sound goes on"
            if error is not None:
                detail = f"the stream ended through a fault of ours ({error!r}); it is opened again"
        return PortStatus(
            name=self._name,
            kind="live",
            sample_rate=self.sample_rate,
            channels=self._channels,
            state=state,
            overflows=self.overflows,
            underflows=self.underflows + self.outgoing.underruns,
            detail=detail,
        )

    def open(self) -> None:
        """Start the stream. Raises `Problem`: no library, no such device, rate refused, or no answer."""
        if self._open:
            return
        self._open = True
        self._held_up = False
        self.mute(False)
        self._run = None
        self._incoming = queue.SimpleQueue()
        self.overflows = self.underflows = 0
        try:
            on_portaudio(self._start, OPEN_S)
        except BaseException:
            self._open = False
            self.outgoing.end()
            raise

    def close(self) -> None:
        """Fade out, then stop. Unread sound is dropped."""
        if not self._open:
            return
        run, running = self._run, self._state() == "running"
        self.outgoing.send(None)
        if running and run is not None:
            latency_s = min(0.5, max(0.0, run.round_trip_s))
            run.finished.wait((GUARD_BLOCKS + 2) * self._block / self.sample_rate + latency_s)
        self._open = False
        if run is not None:
            with contextlib.suppress(NoAnswer):
                portaudio_thread.call(run.drop, DROP_S)
        self.outgoing.end()
        self._run = None

    def send(self, source: Source | None) -> int:
        """Send this source, with a fade wherever it is cut.

        Returns:
            The input frame at which it begins, by the sound system's estimate of its own delay, to which any delay
            outside the computer is added. While the device is lost this is an estimate, and the source begins when
            sound runs again.
        """
        round_trip_s = self._run.round_trip_s if self._run is not None else 0.0
        return self.outgoing.send(source) + round(round_trip_s * self.sample_rate)

    def mute(self, muted: bool) -> None:
        """Send silence from the next block on, or resume the source."""
        self.outgoing.muted = muted

    def read(self, timeout_s: float) -> Block | None:
        """The next block; None if none came in time, or the device is lost and everything has been read."""
        try:
            if self._state() in ("running", "stalled"):
                samples, start, lost = self._incoming.get(timeout=max(0.0, timeout_s))
            else:
                samples, start, lost = self._incoming.get_nowait()
        except queue.Empty:
            return None
        return Block(samples.astype(np.float64), start, lost)

    def reopen(self) -> bool:
        """Open the device again. The source continues as if the device had not been lost."""
        if self._held_up:
            self._held_up = False
            self.mute(False)
        if self._state() in ("lost", "stalled"):
            try:
                on_portaudio(self._start_again, REOPEN_S)
            except Problem:
                return False
        return self._state() == "running"

    def enqueue(self, samples: NDArray[np.float32], start: int, lost: int) -> bool:
        """Queue a block for the bench thread; False if the queue is full and the block is lost.

        In that case the tone being sent is unsupervised and its return is lost, so it is stopped.
        """
        if self._incoming.qsize() >= self._queue_limit:
            self.overflows += 1
            if self.outgoing.sending:
                self._held_up = True
                self.mute(True)
            return False
        self._incoming.put((samples, start, lost))
        return True

    @property
    def _quoted_name(self) -> str:
        return f'the sound device "{self._name}"'

    def _state(self) -> Literal["closed", "running", "stalled", "lost"]:
        run = self._run
        if not self._open:
            return "closed"
        if run is None or run.finished.is_set() or not run.began.is_set():
            return "lost"
        held_up = self._held_up or time.monotonic() - run.last_callback_s > STALLED_S
        return "stalled" if held_up else "running"

    def _start_again(self) -> None:
        if self._run is not None:
            self._run.drop()
        sounddevice = library()
        # PortAudio lists devices once, when it starts: a device that returns is only in a new list.
        with contextlib.suppress(sounddevice.PortAudioError):  # it was ended already
            sounddevice._terminate()  # noqa: SLF001 - there is no public name for these
        try:
            sounddevice._initialize()  # noqa: SLF001
        except sounddevice.PortAudioError as error:
            raise Problem(f"the sound system can't be started ({portaudio_message(error)})") from None
        self._start()

    def _start(self) -> None:
        record, play = choose(list_devices(), self._wanted_name)
        sounddevice = library()
        self._name, self.connected = record.name, (record, play)
        self._channels = min(2, record.inputs)
        for _ in range(TRIES):
            run = self._new_run(sounddevice)
            try:
                run.stream = sounddevice.Stream(
                    device=(record.index, play.index),
                    samplerate=self.sample_rate,
                    blocksize=self._block,
                    channels=(self._channels, 2),
                    dtype="float32",
                    latency="high",
                    callback=run.callback,
                    finished_callback=run.finished.set,
                )
                run.stream.start()
            except (sounddevice.PortAudioError, ValueError) as error:
                run.finished.set()
                run.drop()
                raise Problem(self._refusal(error)) from None
            if self._keeps_running(run) and self._open:
                return
            silent = not run.began.is_set() and not run.finished.is_set()
            run.drop()
            if not self._open:
                return
            if silent:
                raise Problem(f"{self._quoted_name} gives no sound; look at the interface and the sound server")
        raise Problem(f"{self._quoted_name} starts and stops at once; close other programs that use it, then try again")

    def _new_run(self, sounddevice: Any) -> _StreamRun:
        before = self._run
        if before is None:
            base = lost = 0
        else:
            lost = max(0, round((time.monotonic() - before.last_callback_s) * self.sample_rate) - self._block)
            base = before.next_frame + lost
            lost += before.lost
        self._run = run = _StreamRun(self, base, lost, sounddevice.CallbackAbort)
        self.outgoing.begin(base)
        return run

    @staticmethod
    def _keeps_running(run: _StreamRun) -> bool:
        """Whether sound starts and runs for `START_S`."""
        waited = 0.0
        while not run.began.wait(0.05) and not run.finished.is_set() and waited < FIRST_SOUND_S:
            waited += 0.05
        return run.began.is_set() and not run.finished.wait(START_S)

    def _refusal(self, error: Exception) -> str:
        code = error.args[1] if len(error.args) > 1 else None
        if code == _BAD_RATE:
            return f"{self._quoted_name} refuses a sample rate of {self.sample_rate} Hz; choose another device"
        reason = portaudio_message(error)
        return f"{self._quoted_name} can't be opened ({reason}): it is not there, or another program holds it"
