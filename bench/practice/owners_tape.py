"""The owner's own tape: music recorded on another machine, whose record head had an azimuth error."""

from __future__ import annotations

import numpy as np

from bench.practice.facts import MachineFacts
from bench.practice.filters import CHUNK, RATE
from bench.practice.tapes import RecordableTape
from bench.signals.demo_music import demo_music
from bench.tape.equalisation import relative_flux_db
from bench.tape.geometry import delay_us

MOST_ARCMIN = 12.0
MINUTES = 1.0


def owners_tape(machine: MachineFacts, level_hz: float, seed: int) -> RecordableTape:
    """A minute of music on tape, with the machine's equalisation.

    Args:
        machine: the machine that it belongs to.
        level_hz: frequency at which the reference level is stated.
        seed: random seed of its azimuth error, which is at least a third of `MOST_ARCMIN`.
    """
    rng = np.random.Generator(np.random.SFC64([seed, 0x0E]))
    angle = float(rng.choice([-1.0, 1.0]) * rng.uniform(MOST_ARCMIN / 3, MOST_ARCMIN))
    music = demo_music(RATE)
    hz = np.maximum(np.fft.rfftfreq(len(music), 1.0 / RATE), 20.0)
    shape = 10 ** (relative_flux_db(hz, level_hz, *machine.equalisation_us) / 20)
    flux = np.fft.irfft(np.fft.rfft(music, axis=0) * shape[:, None], len(music), axis=0).T
    tape = RecordableTape(MINUTES)
    late = float(delay_us(angle, machine.track_spacing_mm, machine.speed_mm_s)) * 1e-6 * RATE
    for n in range(round(MINUTES * 60 * RATE) // CHUNK):
        at = n * CHUNK % (flux.shape[1] // CHUNK * CHUNK)
        positions = np.arange(n * CHUNK, (n + 1) * CHUNK + 1, dtype=float)
        tape.record(flux[:, at : at + CHUNK], positions, (-late, -late), angle, 0.0)
    tape.position = 0.0
    return tape
