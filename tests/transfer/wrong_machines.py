"""Two models of a machine out of adjustment, and of a correct one that replays its tapes.

One is the practice machine. The other is made here from different filters, each in the frequency domain of the whole
sound: a shelf, a gap, an azimuth error with its delay and loss, and a speed error.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from scipy.signal import bilinear, freqz

from bench.measure.reading import Channel
from bench.practice.machine import PracticeMachine
from bench.session.compare.interchange import right_machine
from bench.session.compare.machine_errors import AZIMUTH, EXACT, SPEED, ErrorKind, MachineErrors, Value
from bench.session.compare.transfer_errors import on_another
from bench.tape.mistracking_map import ReplayErrors
from bench.transfer.errors import ChannelErrors, TransferErrors
from tests.practice.deck import QUIET, deck, play, run

RATE = 48000
SPEED_MM_S, SPACING, WIDTH = 47.625, 0.9, 0.6
"""Cassette: mm/s, mm and mm (IEC 60094-7)."""
READ_HZ = (40.0, 63.0, 125.0, 250.0, 1000.0, 2000.0, 4000.0, 6300.0, 8000.0, 10000.0, 12500.0)
"""Frequencies at which a session reads responses."""


@dataclass(frozen=True)
class Wrong:
    """The errors of a machine when it recorded."""

    level_db: tuple[float, float]
    treble_db: tuple[float, float]
    """Error of its amplifiers at 10 kHz."""
    azimuth_arcmin: float
    fast_percent: float


def drawn(seed: int) -> Wrong:
    """Record level -3 to +3 dB, treble -8 to +3 dB, azimuth ±10′, half a per cent fast or slow."""
    rng = np.random.default_rng([seed, 18])
    level, treble = rng.uniform(-3, 3, 2), rng.uniform(-8, 3, 2)
    return Wrong(
        (level[0], level[1]), (treble[0], treble[1]), float(rng.uniform(-10, 10)), float(rng.choice((-0.5, 0.5)))
    )


class OwnModel:
    """The model that is made of formulas only."""

    def __init__(self, wrong: Wrong) -> None:
        self._wrong = wrong
        self.delay_us = 1e6 * SPACING * np.tan(np.radians(wrong.azimuth_arcmin / 60)) / SPEED_MM_S

    def amplifier(self, channel: int, hz: np.ndarray) -> np.ndarray:
        """A treble shelf at about 5 kHz with two real poles, with the given error at 10 kHz; complex."""
        at_top = self._wrong.treble_db[channel]
        gain = 10 ** (at_top / 20)
        low, high = 2 * np.pi * 5000.0 / gain**0.5, 2 * np.pi * 5000.0 * gain**0.5
        b, a = bilinear([1 / low, 1.0], [1 / high, 1.0], RATE)
        shape = freqz(b, a, worN=np.concatenate(([10000.0, 400.0], hz)), fs=RATE)[1]
        reach = at_top / (20 * np.log10(abs(shape[0] / shape[1])))
        return np.asarray(np.exp(reach * np.log(shape[2:])))

    def tilt(self, hz: np.ndarray) -> np.ndarray:
        """Azimuth loss sin x / x; from memory, standard in the literature."""
        return np.asarray(np.sinc(WIDTH * np.tan(np.radians(self._wrong.azimuth_arcmin / 60)) * hz / SPEED_MM_S))

    def tape_on_a_right_machine(self, sound: np.ndarray) -> np.ndarray:
        """Replay of a recording on a correct machine, shape (frames, 2): slow by as much as it was recorded fast."""
        size = len(sound)
        hz = np.fft.rfftfreq(size, 1 / RATE)
        spectrum = np.fft.rfft(sound, axis=0)
        for channel in range(2):
            gain = 10 ** (self._wrong.level_db[channel] / 20) * self.amplifier(channel, hz) * self.tilt(hz)
            late = self.delay_us * 1e-6 * channel
            spectrum[:, channel] *= gain * np.exp(-2j * np.pi * hz * late)
        longer = round(size * (1 + self._wrong.fast_percent / 100))
        # Fewer or more frames for the same spectrum: another speed at the same sample rate.
        return np.asarray(np.fft.irfft(spectrum, longer, axis=0) * (longer / size))

    def errors(self) -> TransferErrors:
        """The readings of a session: relative to what was sent, at the recorded frequencies."""
        hz = np.array([400.0, *READ_HZ])
        channels = []
        for channel in range(2):
            db = 20 * np.log10(np.abs(self.amplifier(channel, hz) * self.tilt(hz)))
            level = self._wrong.level_db[channel] + db[0]
            channels.append(ChannelErrors(ReplayErrors(level, tuple(zip(READ_HZ, db[1:] - db[0], strict=True)))))
        speed = 100 * (1 / (1 + self._wrong.fast_percent / 100) - 1)
        return TransferErrors(tuple(channels), self.delay_us, speed)


class PracticeModel:
    """The practice machine on two heads: it records with its errors, then its replay is corrected, and it replays."""

    def __init__(self, wrong: Wrong, seed: int) -> None:
        practice = {
            **QUIET,
            "record_level_left_db": wrong.level_db[0],
            "record_level_right_db": wrong.level_db[1],
            "record_equalisation_left_db": wrong.treble_db[0],
            "record_equalisation_right_db": wrong.treble_db[1],
            "replay_azimuth_arcmin": wrong.azimuth_arcmin,
            "speed_percent": wrong.fast_percent,
        }
        self._machine = deck(practice, heads=2, seed=seed)

    def tape_on_a_right_machine(self, sound: np.ndarray) -> np.ndarray:
        """Replay of a recording after correction, shape (frames, 2). The machine stays correct."""
        self._record(sound)
        for trimmer in ("replay azimuth", "speed"):
            set_right(self._machine, trimmer)
        return self._replay(len(sound) / RATE * 1.01)

    def _record(self, sound: np.ndarray) -> None:
        self._machine.load("work")
        self._machine.rewind()
        self._machine.switch("transport", "record")
        self._machine.process(np.concatenate((sound, np.zeros((RATE // 2, 2)))))
        self._machine.switch("transport", "stop")
        run(self._machine, 0.2)

    def _replay(self, seconds: float) -> np.ndarray:
        self._machine.rewind()
        self._machine.switch("transport", "play")
        return run(self._machine, seconds)

    def errors(self) -> TransferErrors:
        """The errors from readings as in a session: of the reference tape, and from record to replay."""
        replay: dict[ErrorKind, Value] = {}
        own: dict[ErrorKind, Value] = {SPEED: EXACT, AZIMUTH: EXACT}
        first = {
            hz: play(self._machine, "level" if hz == LOW_HZ else f"response-{hz:g}") for hz in (LOW_HZ, *PLAYED_HZ)
        }
        levels = {hz: [phasor_near(sound[:, c], hz) for c in range(2)] for hz, sound in first.items()}
        low = levels[LOW_HZ]
        replay[SPEED] = Value(100 * (low[0][1] / LOW_HZ - 1), U)
        rough, fine = (late_us(*levels[hz]) for hz in (3150.0, 10000.0))
        # A period of 10 kHz is 100 µs; the lower tone resolves which one applies.
        replay[AZIMUTH] = Value(fine + 100.0 * round((rough - fine) / 100.0), U)
        t = np.arange(4 * RATE) / RATE
        rng = np.random.default_rng(1)
        sent = sum(10 ** (-47 / 20) * np.sin(2 * np.pi * hz * t + rng.uniform(0, 6)) for hz in (LOW_HZ, *PLAYED_HZ))
        self._record(np.stack((sent, sent), axis=1))
        came = self._replay(3.5)[RATE : 3 * RATE]
        for c, side in enumerate(SIDES):
            replay[ErrorKind("level", side)] = Value(decibels(low[c][0]) + 12, U)
            own_low = decibels(phasor_near(came[:, c], LOW_HZ)[0])
            own[ErrorKind("level", side)] = Value(own_low + 47, U)
            for hz in PLAYED_HZ:
                trait = ErrorKind("response", side, hz)
                replay[trait] = Value(decibels(levels[hz][c][0]) + 20 - decibels(low[c][0]), U)
                own[trait] = Value(decibels(phasor_near(came[:, c], hz)[0]) - own_low, U)
        traits = MachineErrors(
            *("deck", "session", datetime(2026, 5, 3, tzinfo=UTC), 2, SPEED_MM_S, SPACING, WIDTH),
            *("120 µs + 3180 µs", "250 nWb/m (DIN)", "reference", replay, own, ()),
        )
        return on_another(traits, right_machine(traits), SIDES).errors


LOW_HZ = 315.0
PLAYED_HZ = (100.0, 1000.0, 3150.0, 6300.0, 8000.0, 10000.0, 12500.0)
SIDES: tuple[Channel, ...] = ("left", "right")
U = 0.1


def phasor_near(sound: np.ndarray, near_hz: float) -> tuple[complex, float]:
    """Complex amplitude and frequency of the tone near a frequency, by its windowed spectrum."""
    window = np.hanning(len(sound))
    spectrum = np.abs(np.fft.rfft(sound * window, 8 * len(sound)))
    hz = np.fft.rfftfreq(8 * len(sound), 1 / RATE)
    near = np.flatnonzero(np.abs(hz / near_hz - 1) < 0.02)
    found = float(hz[near[np.argmax(spectrum[near])]])
    carrier = np.exp(-2j * np.pi * found * np.arange(len(sound)) / RATE)
    return complex(2 * (sound * window * carrier).sum() / window.sum()), found


def late_us(left: tuple[complex, float], right: tuple[complex, float]) -> float:
    """Delay of the right channel, within half a period either way."""
    return float(-np.angle(right[0] / left[0]) / (2e-6 * np.pi * left[1]))


def decibels(amplitude: complex) -> float:
    return 20 * float(np.log10(abs(amplitude)))


def set_right(machine: PracticeMachine, trimmer: str) -> None:
    """Turn a trimmer until what it sets is right."""
    assert turned_to(machine, trimmer, 0.0) < 0.01


def turned_to(machine: PracticeMachine, trimmer: str, error: float) -> float:
    """Turn a trimmer until it has this error, after taking up its backlash. Returns what its stop leaves."""
    towards = 10.0 if next(t.degrees for t in machine.trimmers() if t.name == trimmer) < 0 else -10.0
    machine.turn(trimmer, towards)
    before = machine.truth()[trimmer]
    machine.turn(trimmer, towards)
    slope = (machine.truth()[trimmer] - before) / towards
    for _ in range(99):
        machine.turn(trimmer, (error - machine.truth()[trimmer]) / slope)
    return abs(machine.truth()[trimmer] - error)
