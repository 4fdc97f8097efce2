"""The owner's tape: music recorded on another machine, which had errors of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.practice.facts import MachineFacts
from bench.practice.filters import CHUNK, RATE
from bench.practice.flaws import PartialErasure
from bench.practice.mains_hum import HARMONICS, ORDERS
from bench.practice.tapes import RecordableTape
from bench.signals.demo_music import demo_music
from bench.tape.equalisation import relative_flux_db
from bench.tape.fluxivity import Fluxivity, ratio_db
from bench.tape.geometry import delay_us

MOST_ARCMIN = 12.0
MINUTES = 1.0
TONE_MINUTES = 0.2
TONES_HZ = (1000.0, 10000.0, 100.0)
"""Tones that a studio recorded ahead of the music on a reel: level, treble and bass. Common practice, no source."""
LABEL_NWB_M = 320.0
TREBLE_CORNER_HZ = 5000.0
_OPEN_REEL = "open reel"


@dataclass(frozen=True, slots=True)
class OtherMachine:
    """Errors of the machine that recorded the tape, and what the tape shows of them."""

    azimuth_arcmin: tuple[float, float]
    """Azimuth error of each side: the shell guides the tape differently when it is turned over."""
    fast_percent: float
    """Speed error in recording; positive is fast, so that the tape plays slow."""
    level_db: float
    treble_db: float
    """Error at 10 kHz re 1 kHz."""
    t1_us: float
    """The shorter time constant of its recording."""
    hum_db: float | None
    """50 Hz hum on the tape, re the reference level; None for no audible hum."""
    shell: str
    """The type that the notches of a cassette show; "" for a reel."""


def random_machine(machine: MachineFacts, iec_type: str, seed: int) -> OtherMachine:
    """Another machine, at random.

    Args:
        machine: the machine that replays the tape; its own time constant is the more likely one.
        iec_type: type of the tapes that it plays.
        seed: random seed.
    """
    rng = np.random.Generator(np.random.SFC64([seed, 0x0E]))
    angles = [float(rng.choice([-1.0, 1.0]) * rng.uniform(MOST_ARCMIN / 3, MOST_ARCMIN)) for _ in range(2)]
    fast = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.3, 1.5))
    level, treble = float(rng.uniform(-3, 3)), float(rng.uniform(-5, 2))
    hum = float(rng.uniform(-50, -42)) if rng.random() < 0.75 else None
    t1_us, shell = machine.equalisation_us[0], ""
    if iec_type != _OPEN_REEL:
        shell = "II" if rng.random() < 0.4 else "I"
        t1_us = 70.0 if rng.random() < (0.8 if shell == "II" else 0.05) else 120.0
    return OtherMachine((angles[0], angles[1]), fast, level, treble, t1_us, hum, shell)


class OwnersTape:
    """The tape with its two sides; on a reel there are tones ahead of the music. A passage is made when first played.

    Args:
        machine: the machine that replays it.
        iec_type: type of the tapes that it plays.
        level_hz: frequency at which the reference level is stated.
        seed: random seed of the other machine.
    """

    def __init__(self, machine: MachineFacts, iec_type: str, level_hz: float, seed: int) -> None:
        self.truth = random_machine(machine, iec_type, seed)
        self._machine, self._level_hz, self._reel = machine, level_hz, iec_type == _OPEN_REEL
        self._erasure: dict[str, PartialErasure] = {}
        """What magnetised heads have erased of each passage."""
        self._side = 0
        self._passage = ""
        self._playing: RecordableTape | None = None

    @property
    def label(self) -> str:
        """The look of the tape and its label."""
        if self._reel:
            return (
                "The pack is flat and clean, and its edge sheds nothing. The splices hold. The label says: "
                f"“tones 1 kHz {LABEL_NWB_M:g} nWb/m, 10 kHz, 100 Hz, then programme”."
            )
        return (
            "No fur, no powder; the pad is firm, and both hubs turn without noise. "
            f"The notches of the shell are those of type {self.truth.shell}. No tones are on the label."
        )

    def load(self, side: int) -> None:
        """Load it with this side up: 0 is the first; a reel has only one."""
        self._side = 0 if self._reel else side % 2
        self.wind(None)

    def wind(self, section: str | None) -> None:
        """Wind to a tone, "1000 Hz", which then repeats; to the music for any other section."""
        hz = next((hz for hz in TONES_HZ if self._reel and section == f"{hz:g} Hz"), None)
        passage = f"{hz:g} Hz" if hz else f"side {self._side}"
        if self._playing is None or passage != self._passage:
            self._playing = None  # a minute of flux takes 23 MB: one passage at a time
            tape = self._tone(hz) if hz else self._music()
            tape.partial_erasure = self._erasure.setdefault(passage, tape.partial_erasure)
            self._playing, self._passage = tape, passage
        self._playing.position = 0.0

    @property
    def playing(self) -> RecordableTape:
        """The passage that plays."""
        if self._playing is None:
            self.load(0)
        assert self._playing is not None
        return self._playing

    def _music(self) -> RecordableTape:
        music = demo_music(RATE)
        if self.truth.hum_db is not None:
            turn = 2 * np.pi * 50.0 * np.arange(len(music)) / RATE  # ten seconds contain whole periods
            for order, amplitude in zip(ORDERS, HARMONICS, strict=True):
                music += (10 ** (self.truth.hum_db / 20) * amplitude * np.sin(order * turn))[:, None]
        return self._recorded(music, MINUTES)

    def _tone(self, hz: float) -> RecordableTape:
        # The nearest frequency at which the passage, which repeats, contains whole periods.
        seconds = 60 * TONE_MINUTES / (1 + self.truth.fast_percent / 100)
        turn = 2 * np.pi * round(hz * seconds) / seconds * np.arange(round(seconds * RATE) + 2 * CHUNK) / RATE
        at_label = ratio_db(Fluxivity(LABEL_NWB_M, self._machine.fluxivity.method), self._machine.fluxivity)
        return self._recorded(10 ** (at_label / 20) * np.repeat(np.sin(turn)[:, None], 2, axis=1), TONE_MINUTES)

    def _recorded(self, sound: Floats, minutes: float) -> RecordableTape:
        """The sound, repeated, as the other machine recorded it."""
        truth, machine = self.truth, self._machine
        hz = np.maximum(np.fft.rfftfreq(len(sound), 1.0 / RATE), 20.0)
        shape = relative_flux_db(hz, self._level_hz, truth.t1_us, machine.equalisation_us[1])
        shape = shape + truth.level_db + truth.treble_db * _treble(hz)
        flux = np.stack([np.fft.irfft(np.fft.rfft(one) * 10 ** (shape / 20), len(sound)) for one in sound.T])
        tape, speed, angle = RecordableTape(minutes), 1 + truth.fast_percent / 100, truth.azimuth_arcmin[self._side]
        late = float(delay_us(angle, machine.track_spacing_mm, machine.speed_mm_s)) * 1e-6 * RATE
        for n in range(round(minutes * 60 * RATE / speed) // CHUNK + 2):
            at = n * CHUNK % (flux.shape[1] // CHUNK * CHUNK)
            positions = speed * np.arange(n * CHUNK, (n + 1) * CHUNK + 1, dtype=float)
            tape.record(flux[:, at : at + CHUNK], positions, (-late, -late), angle, 0.0)
        return tape


def _treble(hz: Floats) -> Floats:
    """A treble shelf scaled to 1 at 10 kHz and 0 at 1 kHz."""

    def shelf(at: Floats | float) -> Floats:
        return np.asarray(np.square(at) / (np.square(at) + TREBLE_CORNER_HZ**2))

    return np.asarray((shelf(hz) - shelf(1000.0)) / (shelf(10000.0) - shelf(1000.0)))
