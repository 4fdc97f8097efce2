"""What is heard of a piece of music once a machine has recorded and replayed it, with or without noise reduction."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.practice.facts import MachineFacts
from bench.practice.filters import FREQUENCIES, LONG, RATE, zero_phase
from bench.practice.machine import PracticeMachine
from bench.tape.encoding_curves import reference_level_db
from bench.tape.mistracking_map import ReplayErrors
from bench.tape.noise_reduction import NoiseReduction, System

Floats = NDArray[np.float64]

PEAK_DB = 0.0
"""Highest peak of what is recorded, as of a sine, re the reference level: a careful recording, so that the machine is
heard and not the tape's overload. Our choice."""
MATCHED_HZ = (200.0, 800.0)
"""Levels are matched here, an octave about 400 Hz each way, so that what is lost beyond it is heard as lost."""
PILOT_FILTER_HZ, PILOT_FILTER_DB = (16000.0, 19000.0), -60.0
"""Ahead of the encoder: it keeps out what the tape would lose, for the decoder's control hears that best of all.
Common practice, no source, as the filter for the 19 kHz pilot tone of broadcasts."""
BANDS_HZ = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)
"""Octave bands (IEC 61260-1)."""
FAINT_DB = -70.0
"""A band that is fainter beside the whole is not compared: there is only noise in it."""
_LEAD = RATE // 2
_LATEST = RATE
"""The most that a machine is late, frames."""
_LOOKED_AT = 5 * RATE

Way = Callable[[Floats], Floats]
"""From the input to the output, both (frames, 2) and 1 for a sine of the reference level of noise reduction."""


@dataclass(frozen=True, slots=True)
class Heard:
    """A piece as it comes back."""

    samples: Floats
    """As long as the piece, in its units, and as loud in the middle."""
    matched_db: float
    """How much it was raised for that."""
    change_db: dict[float, float]
    """Change of level in each octave band after that, both channels together."""


def through_errors(channels: Sequence[ReplayErrors]) -> Way:
    """A way that has only errors of level and treble: one for each channel, or one for both. It adds no noise."""
    responses = [errors.at(FREQUENCIES) for errors in channels]
    return lambda samples: _filtered(samples, responses)


def _filtered(samples: Floats, responses_db: Sequence[Floats]) -> Floats:
    """Each channel through its response, or all through the only one; no phase, no delay."""
    from scipy.signal import oaconvolve

    taps = [zero_phase(r) for r in responses_db]
    pairs = [(samples[:, c], taps[c % len(taps)]) for c in range(samples.shape[1])]
    return np.stack([oaconvolve(s, t)[LONG // 2 :][: len(s)] for s, t in pairs], axis=1)


def through_machine(make: Callable[[], PracticeMachine], facts: MachineFacts, iec_type: str) -> Way:
    """A practice machine as a way, its delay taken out.

    Args:
        make: gives the same machine each time, so that each pass has the same noise.
        facts: its facts.
        iec_type: of its tape: where noise reduction has its reference level.
    """
    at_reference = 10 ** (reference_level_db(facts.fluxivity, iec_type) / 20)

    def way(samples: Floats) -> Floats:
        machine, silence = make(), np.zeros((_LEAD, 2))
        sent = np.concatenate((silence, samples, np.zeros((_LATEST, 2)))) * at_reference * 10 ** (facts.send_dbfs / 20)
        machine.load("work")
        machine.rewind()
        machine.switch("transport", "record")
        came = machine.process(sent)
        if facts.heads == 2:
            machine.rewind()
            machine.switch("transport", "play")
            came = machine.process(np.zeros_like(sent))
        came = came[_LEAD:] / at_reference / 10 ** (facts.replay_dbfs / 20)
        late = lateness(samples, came)
        return came[late : late + len(samples)]

    return way


def lateness(sent: Floats, came: Floats) -> int:
    """By how many frames what came is later than what was sent: the highest correlation around the loudest part."""
    length = min(len(sent), _LOOKED_AT)
    energy = np.concatenate(([0.0], np.cumsum((sent**2).sum(axis=1))))
    start = int(np.argmax(energy[length:] - energy[: len(energy) - length]))
    piece, there = sent[start : start + length], came[start : start + length + _LATEST]
    size = 2 ** int(np.ceil(np.log2(2 * length + _LATEST)))
    alike = np.fft.irfft(np.fft.rfft(there, size, axis=0) * np.conj(np.fft.rfft(piece, size, axis=0)), size, axis=0)[
        : len(came) - len(sent)
    ]
    return int(np.argmax(np.abs(alike).sum(axis=1)))


def hear(piece: Floats, way: Way, system: System | None, sides_db: tuple[float, float] = (0.0, 0.0)) -> Heard:
    """A piece encoded, recorded, replayed and decoded; or recorded and replayed only.

    Args:
        piece: shape (frames, 2), 48 kHz, not silent.
        way: from recording to replay.
        system: noise reduction on both sides of it; None for none.
        sides_db: how much too much the side path of encoder and decoder gives.
    """
    to_tape = 10 ** (PEAK_DB / 20) / np.abs(piece).max()
    sent = piece * to_tape
    if system is None:
        came = way(sent)
    else:
        passed = np.interp(FREQUENCIES, PILOT_FILTER_HZ, (0.0, PILOT_FILTER_DB))
        encoder, decoder = (
            NoiseReduction(system, RATE, 2, decode=last, side_db=db)
            for last, db in zip((False, True), sides_db, strict=True)
        )
        came = decoder.run(way(encoder.run(_filtered(sent, [passed]))))
    came = came / to_tape
    before, after = _powers(piece), _powers(came)
    gain_db = _in(before, *MATCHED_HZ) - _in(after, *MATCHED_HZ)
    if _in(before, *MATCHED_HZ) < _in(before, 0.0, RATE) + FAINT_DB:
        gain_db = _in(before, 0.0, RATE) - _in(after, 0.0, RATE)
    change = {}
    for hz in BANDS_HZ:
        edges = hz / np.sqrt(2), hz * np.sqrt(2)
        if _in(before, *edges) > _in(before, 0.0, RATE) + FAINT_DB:
            change[hz] = _in(after, *edges) - _in(before, *edges) + gain_db
    return Heard(came * 10 ** (gain_db / 20), gain_db, change)


def _powers(samples: Floats) -> tuple[Floats, Floats]:
    """Frequencies, and power at each in both channels together."""
    power: Floats = (np.abs(np.fft.rfft(samples, axis=0)) ** 2).sum(axis=1)
    return np.asarray(np.fft.rfftfreq(len(samples), 1 / RATE), dtype=float), power


def _in(powers: tuple[Floats, Floats], low: float, high: float) -> float:
    """Power in a band, dB."""
    hz, power = powers
    first, last = np.searchsorted(hz, (low, high))
    return 10 * float(np.log10(power[first:last].sum() + 1e-30))


def resampled(samples: Floats, rate: int) -> Floats:
    """Samples of any rate at 48 kHz, by a polyphase filter; shape (frames, channels)."""
    if rate == RATE:
        return samples
    from scipy.signal import resample_poly

    common = int(np.gcd(rate, RATE))
    return np.asarray(resample_poly(samples, RATE // common, rate // common, axis=0))
