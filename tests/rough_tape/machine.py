"""A machine with a tape, and one pass of the tape with every impairment at once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.fft import next_fast_len

from tests.rough_tape import holes, travel
from tests.rough_tape.grades import Grade
from tests.rough_tape.spectra import Floats, Shape, Spectrum, falling, gaussian, knee

SLOW_RATE = 200.0
"""Points a second of level and delay courses."""
BOTH = (0.3, 0.8)
"""Range of the fraction of a wander's power that the channels share."""
CONTACT_HZ = 10000.0


@dataclass(frozen=True)
class Wanders:
    """The laws of level and delay of one machine, scaled by its grade."""

    level: tuple[Spectrum, ...]
    """Wander that is the same at all frequencies, dB."""
    contact: tuple[Spectrum, ...]
    """Wander at 10 kHz, dB; proportional to frequency."""
    weave: tuple[Spectrum, ...]
    """Wander of the right channel's delay, µs."""
    shared: float
    """Fraction of the power of the level wander that both channels share."""

    def level_at(self, hz: float) -> list[Spectrum]:
        """The spectra of the level of one channel at a frequency."""
        part = hz / CONTACT_HZ
        return [*self.level, *(replace(s, rms=s.rms * part) for s in self.contact)]


def drawn_wanders(rng: np.random.Generator, grade: Grade) -> Wanders:
    """Draw the laws of a machine, each from several alternatives."""

    def unsteady(rms: float, slow: float) -> tuple[Spectrum, ...]:
        shape: Shape = knee(float(np.exp(rng.uniform(np.log(0.5), np.log(3.0)))), float(rng.choice([2.0, 3.0, 4.0])))
        slower = falling(float(rng.choice([0.0, 0.7, 1.0])))
        return Spectrum(shape, 0.2, 10.0, rms), Spectrum(slower, 0.01, 0.2, slow)

    weave = [Spectrum(falling(rng.uniform(0.8, 1.4)), 0.3, 5.0, grade.weave_us)]
    weave.append(Spectrum(falling(rng.uniform(0.0, 1.0)), 0.02, 0.3, rng.uniform(0.0, 0.4) * grade.weave_us))
    slow_part = grade.slow_db / grade.level_db
    return Wanders(
        unsteady(grade.level_db, grade.slow_db),
        unsteady(grade.contact_db, rng.uniform(0.5, 1.0) * slow_part * grade.contact_db),
        tuple(weave),
        rng.uniform(*BOTH),
    )


@dataclass(frozen=True)
class Machine:
    """The properties that stay the same from pass to pass."""

    grade: Grade
    wanders: Wanders
    travel: travel.Travel
    delay_us: float
    """Long-run delay of the right channel."""
    reference_dbfs: float
    """Output level for the reference level of the tape."""
    response_db: tuple[tuple[float, float], tuple[float, float]]
    """For each channel: dB at 10 kHz relative to low frequencies, and a bump at 3 kHz."""
    balance_db: float
    skirts: tuple[Spectrum, Spectrum]
    """Modulation noise in amplitude and phase, as a fraction of the carrier."""
    hiss: Shape
    mains_hz: float
    third: float
    """Third harmonic at reference level, as a fraction."""

    def gain_db(self, channel: int, hz: float) -> float:
        """Level of a channel at a frequency, relative to reference level."""
        treble, bump = self.response_db[channel]
        bell = np.exp(-((np.log2(hz / 3000.0)) ** 2))
        return float(treble * (hz / 10000.0) ** 1.5 + bump * bell + (0.5 - channel) * self.balance_db)


def drawn_machine(rng: np.random.Generator, grade: Grade) -> Machine:
    """Draw a machine of a grade."""
    grade = grade.drawn(rng)
    power = 10.0 ** (grade.skirts_db / 10.0)
    amplitude = rng.uniform(0.3, 0.7)
    skirt = knee(float(np.exp(rng.uniform(np.log(200.0), np.log(2000.0)))), float(rng.choice([1.0, 2.0])))
    return Machine(
        grade,
        drawn_wanders(rng, grade),
        travel.drawn(rng, grade),
        rng.uniform(-grade.delay_us, grade.delay_us),
        rng.uniform(-20.0, -8.0),
        ((rng.uniform(-3.0, 1.5), rng.uniform(-0.5, 0.5)), (rng.uniform(-3.0, 1.5), rng.uniform(-0.5, 0.5))),
        rng.uniform(-1.5, 1.5),
        (
            Spectrum(skirt, 1.0, 5000.0, float(np.sqrt(power * amplitude))),
            Spectrum(skirt, 1.0, 5000.0, float(np.sqrt(power * (1.0 - amplitude)))),
        ),
        knee(rng.uniform(800.0, 3000.0), rng.uniform(0.8, 1.6)),
        float(rng.choice([50.0, 60.0])) + rng.uniform(-0.05, 0.05),
        rng.uniform(0.002, 0.02),
    )


class Pass:
    """One pass of a tape: courses over time, which are the same for every tone on it.

    Args:
        machine: the machine that plays it.
        rng: generator for this pass.
        seconds: length.
        rate: samples a second of the capture.
        first: whether these are the first seconds of a tape, where it weaves twice as much.
    """

    def __init__(
        self, machine: Machine, rng: np.random.Generator, seconds: float, rate: float, *, first: bool = False
    ) -> None:
        self.machine, self.rate = machine, rate
        self.frames = round(seconds * rate)
        self.t = np.arange(self.frames) / rate
        wanders, count = machine.wanders, int(seconds * SLOW_RATE) + 2
        self._slow_t = np.arange(count) / SLOW_RATE
        self.level, self.contact = (self._channels(rng, s, count) for s in (wanders.level, wanders.contact))
        weave = sum((s.noise(rng, count, SLOW_RATE) for s in wanders.weave), np.zeros(count))
        self.weave_us = weave * (np.where(self._slow_t < 10.0, 2.0, 1.0) if first else 1.0)
        self.wander = machine.travel.wander(rng, seconds)
        self.holes = holes.drawn(rng, seconds, machine.grade.dropouts_a_minute)
        travelled = np.concatenate([[0.0], np.cumsum(0.5 * (self.wander[1:] + self.wander[:-1])) / travel.RATE])
        own = np.arange(len(travelled)) / travel.RATE
        travelled += machine.travel.mean * own + 0.5 * machine.travel.trend * own**2
        self.place_s = self.t + np.interp(self.t, own, travelled) + self._scrape(rng)
        """Position of the head on the tape, in seconds at nominal speed."""
        self._rng = rng

    def speed(self, start_s: float, end_s: float) -> Floats:
        """The course of the speed error between two times, as a fraction (positive for fast), at `travel.RATE`."""
        inside = slice(round(start_s * travel.RATE), round(end_s * travel.RATE))
        moved = np.arange(len(self.wander)) / travel.RATE
        return np.asarray((self.wander + self.machine.travel.mean + self.machine.travel.trend * moved)[inside])

    def level_db(self, channel: int, hz: float) -> Floats:
        """The course of a channel's level at a frequency, without dropouts, dB, at `SLOW_RATE`."""
        return np.asarray(self.level[channel] + self.contact[channel] * hz / CONTACT_HZ)

    def tone(
        self,
        hz: float,
        start_s: float,
        end_s: float,
        dbfs: tuple[float, float],
        fades_s: float,
        *,
        rises_db: float = 0.0,
    ) -> Floats:
        """A tone as replayed.

        Args:
            hz: recorded frequency.
            start_s: start of its fade-in.
            end_s: end of its fade-out.
            dbfs: long-run level of each channel.
            fades_s: length of its fades.
            rises_db: rise in level from start to end.

        Returns:
            Shape (frames, 2), from `start_s` on.
        """
        first, last = round(start_s * self.rate), round(end_s * self.rate)
        t, place = self.t[first:last], self.place_s[first:last]
        fade = np.clip(np.minimum(t - t[0], t[-1] - t) / max(fades_s, 1e-9), 0.0, 1.0)
        fade = np.sin(0.5 * np.pi * fade) ** 2
        rise = rises_db * (t - t[0]) / max(t[-1] - t[0], 1e-9)
        out = np.empty((len(t), 2))
        am, pm = self.machine.skirts
        for c in range(2):
            lost = np.zeros(len(t))
            for hole in self.holes:
                near = slice(*np.searchsorted(t, [hole.at_s - 4 * hole.length_s, hole.at_s + 8 * hole.length_s]))
                lost[near] += hole.loss_db(t[near], c, hz)
            level = np.interp(t, self._slow_t, self.level_db(c, hz)) - lost + dbfs[c] + rise
            late = (self.machine.delay_us + np.interp(t, self._slow_t, self.weave_us)) * 1e-6 if c else 0.0
            phase = 2 * np.pi * hz * (place - late) + self._skirt(pm, len(t))
            envelope = fade * 10.0 ** (level / 20.0) * (1.0 + self._skirt(am, len(t)))
            x = envelope * np.cos(phase)
            amplitude = 10.0 ** ((dbfs[c] + rise - self.machine.reference_dbfs) / 20.0)
            if 3 * hz < 0.45 * self.rate:
                x += envelope * self.machine.third * amplitude**2 * np.cos(3 * phase)
            out[:, c] = x
        return out

    def _skirt(self, spectrum: Spectrum, points: int) -> Floats:
        return gaussian(self._rng, [spectrum], next_fast_len(points, real=True), self.rate)[:points]

    def ground(self) -> Floats:
        """Hiss and hum for the whole pass, shape (frames, 2)."""
        grade, reference = self.machine.grade, self.machine.reference_dbfs
        size = next_fast_len(self.frames, real=True)
        hiss = Spectrum(
            self.machine.hiss, 20.0, min(20000.0, 0.5 * self.rate), 10.0 ** ((reference + grade.hiss_db - 3.0) / 20.0)
        )
        out = np.stack([gaussian(self._rng, [hiss], size, self.rate)[: self.frames] for _ in range(2)], axis=1)
        drift = Spectrum(falling(0.5), 0.01, 0.2, 1.0).noise(self._rng, len(self._slow_t), SLOW_RATE)
        hum = 10.0 ** ((reference + grade.hum_db + np.interp(self.t, self._slow_t, drift)) / 20.0)
        turn = np.exp(2j * np.pi * self.machine.mains_hz * self.t)
        for c in range(2):
            lines = self._rng.uniform(0.3, 1.0, 7) / np.arange(1, 8) * np.exp(2j * np.pi * self._rng.random(7))
            out[:, c] += hum * np.polyval([*lines[::-1], 0.0], turn).real
        return out

    def _channels(self, rng: np.random.Generator, spectra: tuple[Spectrum, ...], count: int) -> Floats:
        both, left, right = (sum((s.noise(rng, count, SLOW_RATE) for s in spectra), np.zeros(count)) for _ in range(3))
        shared = self.machine.wanders.shared
        own = np.sqrt(1.0 - shared)
        return np.stack([np.sqrt(shared) * both + own * left, np.sqrt(shared) * both + own * right])

    def _scrape(self, rng: np.random.Generator) -> Floats:
        """Displacement of the tape by scrape flutter, seconds."""
        spectrum = self.machine.travel.scrape
        middle_hz = (spectrum.low_hz * spectrum.high_hz) ** 0.5
        faster = Spectrum(falling(2.0), spectrum.low_hz, spectrum.high_hz, spectrum.rms / (2 * np.pi * middle_hz))
        return gaussian(rng, [faster], next_fast_len(self.frames, real=True), self.rate)[: self.frames]
