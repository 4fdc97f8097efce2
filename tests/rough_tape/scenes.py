"""Whole captures: one tone, or the sequence of a reference tape, with their true values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.rough_tape import flutter_detectors, travel
from tests.rough_tape.grades import Grade
from tests.rough_tape.interface import captured
from tests.rough_tape.machine import SLOW_RATE, Machine, Pass, drawn_machine
from tests.rough_tape.spectra import best_mean_rms
from tests.rough_tape.voice import announcement

Floats = NDArray[np.float64]

RATES = (48000.0, 44100.0, 96000.0, 48000.0)
PRINT_DB = (-62.0, -50.0)
"""Print-through from a neighbouring layer, relative to the tone; common practice, no source."""
LAYER_S = 1.3
"""Duration of one turn of the reel, by which print-through precedes and follows."""


@dataclass(frozen=True)
class Truth:
    """The true values for one tone: of its own stretch, and of the machine in the long run."""

    hz: float
    """Recorded frequency."""
    start_s: float
    """End of its fade-in."""
    end_s: float
    own_dbfs: tuple[float, float]
    machine_dbfs: tuple[float, float]
    best_db: tuple[float, float]
    """Standard deviation of the best estimate of `machine_dbfs` from a stretch of this length, for each channel."""
    own_delay_us: float
    machine_delay_us: float
    best_delay_us: float
    own_weave_us: float
    machine_weave_us: float
    own_speed_percent: float
    machine_speed_percent: float
    own_drift_percent: float
    """End minus start of a straight line through the speed."""
    machine_drift_percent: float
    best_speed_percent: float


@dataclass(frozen=True)
class Capture:
    """Samples, and the truth about each tone in them."""

    samples: Floats
    """Shape (frames, 2)."""
    rate: float
    tones: tuple[Truth, ...]
    machine: Machine
    passed: Pass


@dataclass(frozen=True)
class Section:
    """One tone of a reference tape."""

    hz: float
    db: float
    """Level relative to reference level."""
    seconds: float
    right_db: float = 0.0
    """Additional level of the right channel."""
    rises_db: float = 0.0
    """Rise in level from start to end."""


def single(
    rng: np.random.Generator,
    grade: Grade,
    hz: float,
    db: float,
    seconds: float,
    *,
    bits: int = 24,
    first: bool = False,
    rate: float | None = None,
) -> Capture:
    """One tone between stretches of tape without a tone."""
    return sequence(rng, grade, (Section(hz, db, seconds),), bits=bits, announced=False, first=first, rate=rate)


def sequence(
    rng: np.random.Generator,
    grade: Grade,
    sections: tuple[Section, ...],
    *,
    bits: int = 24,
    announced: bool = True,
    first: bool = False,
    rate: float | None = None,
    machine: Machine | None = None,
) -> Capture:
    """The tones of a reference tape on a machine, with gaps, announcements, fades, print-through and splices."""
    machine = machine or drawn_machine(rng, grade)
    rate = float(rng.choice(RATES)) if rate is None else rate
    at, places = rng.uniform(0.4, 1.2), []
    words: list[tuple[float, float]] = []
    for section in sections:
        if announced:
            spoken = rng.uniform(1.0, 2.5)
            words.append((at, spoken))
            at += spoken + rng.uniform(0.3, 0.8)
        places.append(at)
        at += section.seconds + rng.uniform(0.4, 1.5)
    passed = Pass(machine, rng, at + 0.3, rate, first=first)
    out = passed.ground()
    for start, spoken in words:
        voice = announcement(rng, spoken, rate, machine.reference_dbfs + rng.uniform(-12.0, -3.0))
        first_frame = round(start * rate)
        out[first_frame : first_frame + len(voice)] += voice[:, None]
    truths = []
    echo = 10.0 ** (rng.uniform(*PRINT_DB) / 20.0)
    for section, start in zip(sections, places, strict=True):
        fade = float(np.exp(rng.uniform(np.log(0.005), np.log(0.2))))
        level = machine.reference_dbfs + section.db
        dbfs = tuple(level + machine.gain_db(c, section.hz) + c * section.right_db for c in range(2))
        x = passed.tone(section.hz, start, start + section.seconds, (dbfs[0], dbfs[1]), fade, rises_db=section.rises_db)
        first_frame = round(start * rate)
        out[first_frame : first_frame + len(x)] += x
        for layer, part in ((-1, 1.0), (1, 0.7)):
            place = first_frame + round(layer * LAYER_S * rate)
            # Only outside the tone: beneath it, print-through is part of the recording.
            low, high = (max(0, place), first_frame) if layer < 0 else (first_frame + len(x), place + len(x))
            high = min(len(out), high)
            out[low:high] += echo * part * x[low - place : high - place]
        if announced and rng.random() < 0.3:
            click = first_frame - round(0.2 * rate)
            out[click : click + 20] += 0.3 * rng.standard_normal((20, 2)) * 10.0 ** (machine.reference_dbfs / 20.0)
        truths.append(_truth(passed, section, start + fade, start + section.seconds - fade, (dbfs[0], dbfs[1])))
    return Capture(captured(out, rng, bits), rate, tuple(truths), machine, passed)


def _truth(passed: Pass, section: Section, start_s: float, end_s: float, dbfs: tuple[float, float]) -> Truth:
    machine, hz, seconds = passed.machine, section.hz, end_s - start_s
    inside = slice(round(start_s * SLOW_RATE), round(end_s * SLOW_RATE))
    own, long_run, best = [], [], []
    for c in range(2):
        course = passed.level_db(c, hz)
        spectra = machine.wanders.level_at(hz)
        variance = sum(s.rms**2 for s in spectra)
        # The mean of 10^(L/20) for Gaussian L of standard deviation s dB is s²/17.37 dB above that of L = 0.
        own.append(20.0 * float(np.log10(np.mean(10.0 ** (course[inside] / 20.0)))) + dbfs[c])
        long_run.append(dbfs[c] + variance / 17.372)
        best.append(best_mean_rms(spectra, seconds))
    weave = passed.weave_us[inside]
    speed = passed.speed(start_s, end_s)
    t = np.arange(len(speed)) / travel.RATE
    slope = float(np.polyfit(t, speed, 1)[0])
    lines = sum(line.peak**2 / 2.0 / (1.0 + (2 * np.pi * line.hz * seconds) ** 2) for line in machine.travel.lines)
    return Truth(
        hz,
        start_s,
        end_s,
        (own[0], own[1]),
        (long_run[0], long_run[1]),
        (best[0], best[1]),
        machine.delay_us + float(weave.mean()),
        machine.delay_us,
        best_mean_rms(list(machine.wanders.weave), seconds),
        float(weave.std()),
        float(np.sqrt(sum(s.rms**2 for s in machine.wanders.weave))),
        100.0 * float(speed.mean()),
        100.0 * (machine.travel.mean + machine.travel.trend * 0.5 * (start_s + end_s)),
        100.0 * slope * seconds,
        100.0 * machine.travel.trend * seconds,
        100.0 * float(np.hypot(best_mean_rms(machine.travel.slow_spectra(), seconds), np.sqrt(lines))),
    )


def flutter_truth(
    capture: Capture, rng: np.random.Generator, *, long_run_s: float = 150.0
) -> tuple[dict[str, float], dict[str, float]]:
    """What each detector shows for the first tone, and for the machine in the long run, %."""
    tone = capture.tones[0]
    own = flutter_detectors.shown(100.0 * capture.passed.speed(tone.start_s, tone.end_s), travel.RATE)
    course = 100.0 * capture.machine.travel.wander(rng, long_run_s)
    return own, flutter_detectors.shown_in_the_long_run(course, travel.RATE, tone.end_s - tone.start_s)
