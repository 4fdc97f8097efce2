"""A deck and its tapes for the tests, and a way to read a level that shares no code with the program."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from bench.practice.facts import FaultFacts, MachineFacts, ReferenceFacts, SectionFacts, Table, TapeFacts
from bench.practice.machine import PracticeMachine
from bench.tape.fluxivity import Fluxivity

RATE = 48000
CASSETTE = 47.625
QUIET: Table = {
    "hum_db": -150.0,
    "amplifier_noise_db": -150.0,
    "crosstalk_db": -150.0,
    "azimuth_weave_arcmin": 0.0,
    "flutter_capstan_percent": 0.0,
    "flutter_pinch_roller_percent": 0.0,
    "flutter_reel_percent": 0.0,
    "flutter_random_percent": 0.0,
}
"""A machine without noise and flutter, so that its output follows a closed formula."""

TONES = (1000.0, 3150.0, 6300.0, 8000.0, 10000.0, 12500.0)
BESIDE = (31.5, 100.0, 315.0, 16000.0, 20000.0)


def reference(
    speed_mm_s: float = CASSETTE, equalisation_us: tuple[float, float] = (120.0, 3180.0), section_s: float = 120.0
) -> ReferenceFacts:
    """A reference tape: a section for each of `TONES` and `BESIDE` at -20 dB, and 315 Hz at 0 dB; all this long."""
    sections = [SectionFacts("level", "level", 315.0, 0.0, section_s)]
    sections += [SectionFacts(f"response-{hz:g}", "response", hz, -20.0, section_s) for hz in (*TONES, *BESIDE)]
    return ReferenceFacts("reference", speed_mm_s, Fluxivity(250.0, "DIN"), equalisation_us, tuple(sections))


def deck(
    practice: Table | None = None,
    *,
    heads: int = 3,
    tape: Table | None = None,
    iec_type: str = "I",
    speed_mm_s: float = CASSETTE,
    equalisation_us: tuple[float, float] = (120.0, 3180.0),
    tape_us: tuple[float, float] | None = None,
    track_spacing_mm: float = 0.9,
    seed: int = 1,
    misadjustment: float = 0.0,
    faults: Sequence[FaultFacts] = (),
    noise_reduction: Literal["none", "type-b", "type-a"] = "none",
    section_s: float = 120.0,
) -> PracticeMachine:
    """A machine that is correct except for what the arguments change."""
    facts = MachineFacts(
        "deck",
        heads,
        speed_mm_s,
        track_spacing_mm,
        equalisation_us,
        Fluxivity(250.0, "DIN"),
        replay_dbfs=-12.0,
        send_dbfs=-12.0,
        noise_reduction=noise_reduction,
        practice=practice or {},
    )
    return PracticeMachine(
        facts,
        TapeFacts("tape", iec_type, tape or {}),
        reference(speed_mm_s, tape_us or equalisation_us, section_s),
        seed=seed,
        faults=faults,
        misadjustment=misadjustment,
        tape_minutes=0.5,
    )


def run(machine: PracticeMachine, seconds: float) -> np.ndarray:
    """The output while nothing is sent."""
    return machine.process(np.zeros((round(seconds * RATE), 2)))


def play(machine: PracticeMachine, section: str, seconds: float = 1.0) -> np.ndarray:
    """A section of the reference tape, without its beginning."""
    machine.load("reference")
    machine.rewind(section)
    machine.switch("transport", "play")
    run(machine, 0.2)
    return run(machine, seconds)


def tone(hz: float, dbfs: float, seconds: float) -> np.ndarray:
    """A sine on both channels."""
    wave = 10 ** (dbfs / 20) * np.sin(2 * np.pi * hz / RATE * np.arange(round(seconds * RATE)))
    return np.stack((wave, wave), axis=1)


def phasor(signal: np.ndarray, hz: float) -> complex:
    """Complex amplitude of a steady tone: correlation with a Hann window."""
    window = np.hanning(signal.size)
    turns = np.exp(-2j * np.pi * hz / RATE * np.arange(signal.size))
    return complex(2 * (signal * window * turns).sum() / window.sum())


def level_dbfs(signal: np.ndarray, hz: float) -> float:
    """Level of a steady tone, dB re full-scale sine."""
    return 20 * float(np.log10(abs(phasor(signal, hz))))


def response(machine: PracticeMachine, channel: int = 0) -> dict[float, float]:
    """Replay of `TONES` re their nominal level, dB re the machine's reference level."""
    return {hz: level_dbfs(play(machine, f"response-{hz:g}")[:, channel], hz) + 12 + 20 for hz in TONES}
