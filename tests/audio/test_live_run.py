"""How the callback handles flags and clocks that no sound server here can be made to produce."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.audio.live import LivePort, _StreamRun
from bench.audio.port import Block
from bench.signals.tones import SteadyTone, Tone

RATE, BLOCK = 48000, 960


class Device:
    """Calls the callback as PortAudio does."""

    def __init__(self) -> None:
        self.port = LivePort()
        self.run = _StreamRun(self.port, 0, 0, RuntimeError)
        self.adc_s = 5.0

    def call(self, *, missing: int = 0, **flags: bool) -> NDArray[np.float32]:
        """Make one callback; returns the output."""
        self.adc_s += missing / RATE
        every = {"input_overflow": False, "input_underflow": False, "output_underflow": False}
        status = SimpleNamespace(**(every | flags)) if flags else None
        times = SimpleNamespace(inputBufferAdcTime=self.adc_s, outputBufferDacTime=self.adc_s + 0.06)
        out = np.zeros((BLOCK, 2), np.float32)
        self.run.callback(np.zeros((BLOCK, 2), np.float32), out, BLOCK, times, status)
        self.adc_s += BLOCK / RATE
        return out

    def blocks(self) -> list[Block]:
        out = []
        while (block := self.port.read(0.0)) is not None:
            out.append(block)
        return out


def test_an_overflow_is_counted_and_said_with_its_length_by_the_input_clock() -> None:
    device = Device()
    device.call()
    device.call(missing=2400, input_overflow=True)
    device.call()
    assert [(b.start, b.lost) for b in device.blocks()] == [(0, 0), (960 + 2400, 2400), (1920 + 2400, 0)]
    assert device.port.status.overflows == 1


@pytest.mark.parametrize("flag", ["input_overflow", "input_underflow"])
def test_an_overflow_whose_length_is_unknown_is_said_all_the_same(flag: str) -> None:
    device = Device()
    device.call()
    device.call(**{flag: True})
    assert [b.lost for b in device.blocks()] == [0, 1]


def test_flags_before_the_first_sound_lose_nothing() -> None:
    device = Device()
    device.call(input_underflow=True)
    assert [(b.start, b.lost) for b in device.blocks()] == [(0, 0)]


def test_an_output_that_breaks_is_counted_and_the_input_is_whole() -> None:
    device = Device()
    device.call()
    device.call(output_underflow=True)
    assert [(b.start, b.lost) for b in device.blocks()] == [(0, 0), (960, 0)]
    assert (device.port.status.overflows, device.port.status.underflows) == (0, 1)


@pytest.mark.parametrize(("missing", "lost"), [(48000, 48000), (100, 0)])
def test_after_a_stall_without_a_flag_the_input_clock_decides(missing: int, lost: int) -> None:
    device = Device()
    device.call()
    device.run.last_callback_s -= 1.0
    device.call(missing=missing)
    assert [b.lost for b in device.blocks()] == [0, lost]
    assert device.port.status.underflows == 1


def sounds(device: Device, blocks: int) -> list[bool]:
    """Whether each of the given number of blocks has output."""
    return [bool(np.any(device.call())) for _ in range(blocks)]


def test_a_tone_that_nobody_minds_any_more_is_stopped_until_the_port_is_opened_again() -> None:
    """The bench thread does not return: the queue of incoming sound is full, and further sound is lost."""
    device = Device()
    port = device.port
    port._open, port._run, port._queue_limit = True, device.run, 8
    port.outgoing.begin(0)
    port.outgoing.end()
    port.send(SteadyTone(Tone(1000.0, -6.0), RATE))
    assert sounds(device, 12) == [False] * 3 + [True] * 7 + [False] * 2
    status = port.status
    assert status.state == "stalled"
    assert status.detail.startswith("the tone was stopped because this program was held up for 20 s")
    port.send(None)
    assert port.reopen()
    device.blocks()
    port.send(SteadyTone(Tone(1000.0, -6.0), RATE))
    assert any(sounds(device, 6))
    assert port.status.state == "running"


def test_a_full_queue_stops_nothing_where_nothing_is_sent() -> None:
    device = Device()
    device.port._open, device.port._run, device.port._queue_limit = True, device.run, 2
    assert not any(sounds(device, 5))
    assert device.port.status.state == "running"
    assert device.port.status.overflows == 3
