"""The simulated loopback as a port: timing of its blocks, its output, and the instruments connected to it."""

from __future__ import annotations

import numpy as np
import pytest

from bench.audio.port import Hands, Instruments, Port
from bench.audio.practice_loopback import LoopbackPort
from bench.clock import RehearsalClock
from bench.practice.loopback import LoopbackFacts, PracticeLoopback
from bench.signals.tones import SteadyTone, Tone


def loopback(clock: RehearsalClock, *, real_time: bool) -> LoopbackPort:
    return LoopbackPort(PracticeLoopback(LoopbackFacts(delay_ms=0.0, gain_db=0.0), seed=1), clock, real_time=real_time)


def test_it_is_a_port_with_instruments_and_no_hands() -> None:
    port: Port = loopback(RehearsalClock(), real_time=False)
    assert isinstance(port, Instruments)
    assert not isinstance(port, Hands)
    assert (port.status.kind, port.status.state) == ("practice", "closed")
    assert port.read(1.0) is None, "nothing sounds before it is open"


def test_unpaced_time_goes_on_as_sound_is_made() -> None:
    clock = RehearsalClock()
    port = loopback(clock, real_time=False)
    port.open()
    blocks = [port.read(0.0) for _ in range(50)]
    assert [b.start for b in blocks if b is not None] == list(range(0, 48000, 960))
    assert clock.now() == pytest.approx(1.0)


def test_paced_a_block_comes_when_it_is_due() -> None:
    clock = RehearsalClock()
    port = loopback(clock, real_time=True)
    port.open()
    assert port.read(0.001) is None
    assert port.read(1.0) is not None
    assert clock.now() == pytest.approx(0.02)


def test_what_is_sent_comes_back_and_is_read_by_the_instruments() -> None:
    port = loopback(RehearsalClock(), real_time=False)
    port.open()
    for _ in range(10):
        port.read(0.0)
    assert port.send(SteadyTone(Tone(1000.0, -6.0206), 48000)) == 9600
    heard = [port.read(0.0) for _ in range(100)]
    last = heard[-1]
    assert last is not None
    assert np.abs(last.samples).max() == pytest.approx(0.5, abs=0.001)
    assert port.reading_in("V") == pytest.approx(1.95 / 2, rel=1e-3)
    assert port.reading_in("Hz") == pytest.approx(1000.018, abs=1e-3)
    assert port.reading_in("g·cm") is None
    port.mute(True)
    muted = [port.read(0.0) for _ in range(50)]
    assert muted[-1] is not None
    assert np.abs(muted[-1].samples).max() < 0.001
    port.mute(False)
    heard = [port.read(0.0) for _ in range(50)]
    assert heard[-1] is not None
    assert np.abs(heard[-1].samples).max() == pytest.approx(0.5, abs=0.001)
    port.close()
    assert port.read(0.0) is None
    assert port.reopen()
