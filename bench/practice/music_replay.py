"""Music recorded and replayed by a machine, with or without noise reduction."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.practice.facts import MachineFacts
from bench.practice.filters import FREQUENCIES, LONG, RATE, zero_phase
from bench.practice.machine import PracticeMachine
from bench.tape.encoding_curves import reference_level_db
from bench.tape.mistracking_map import ReplayErrors
from bench.tape.noise_reduction import NoiseReduction, System

RECORDED_PEAK_DB = 0.0
"""Peak level of the recording, re a sine at the reference level: low enough that the machine's faults are heard and not
tape overload. Our choice."""
MATCHED_HZ = (200.0, 800.0)
"""Levels are matched in this band, an octave on either side of 400 Hz, so that losses outside it are audible."""
PILOT_FILTER_HZ, PILOT_FILTER_DB = (16000.0, 19000.0), -60.0
"""The pilot-tone filter ahead of the encoder. It removes frequencies that the tape would lose, to which the decoder's
control path is most sensitive. Common practice, no source, like the filter for the 19 kHz pilot tone of broadcasts."""
OCTAVE_BANDS_HZ = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)
"""Octave bands (IEC 61260-1)."""
FAINT_DB = -70.0
"""A band below this level, re the whole signal, is not compared, because it holds only noise."""
_LEAD = RATE // 2
_LATEST = RATE
"""Longest delay of a machine, frames."""
_COMPARED = 5 * RATE

SignalPath = Callable[[Floats], Floats]
"""A function from input to output, both (frames, 2), scaled to 1 for a sine at the reference level of noise
reduction."""


@dataclass(frozen=True, slots=True)
class ReplayedMusic:
    """Music after replay."""

    samples: Floats
    """The same length and units as the original, with levels matched in `MATCHED_HZ`."""
    matched_db: float
    """Gain applied to match levels."""
    change_db: dict[float, float]
    """Change in level of each octave band after matching, for both channels together."""


def path_with_errors(channels: Sequence[ReplayErrors]) -> SignalPath:
    """A path with level and response errors only, one for each channel or one for both. It adds no noise."""
    responses = [errors.at(FREQUENCIES) for errors in channels]
    return lambda samples: _filtered(samples, responses)


def _filtered(samples: Floats, responses_db: Sequence[Floats]) -> Floats:
    """Each channel through its response, or all channels through the only one; zero phase, no delay."""
    from scipy.signal import oaconvolve

    taps = [zero_phase(r) for r in responses_db]
    pairs = [(samples[:, c], taps[c % len(taps)]) for c in range(samples.shape[1])]
    return np.stack([oaconvolve(s, t)[LONG // 2 :][: len(s)] for s, t in pairs], axis=1)


def path_through_machine(make: Callable[[], PracticeMachine], facts: MachineFacts, iec_type: str) -> SignalPath:
    """A practice machine as a path, with its delay removed.

    Args:
        make: builds an identical machine each time, so that each pass has the same noise.
        facts: the machine's facts.
        iec_type: the tape type, which determines the reference level of noise reduction.
    """
    at_reference = 10 ** (reference_level_db(facts.fluxivity, iec_type) / 20)

    def path(samples: Floats) -> Floats:
        machine, silence = make(), np.zeros((_LEAD, 2))
        sent = np.concatenate((silence, samples, np.zeros((_LATEST, 2)))) * at_reference * 10 ** (facts.send_dbfs / 20)
        machine.load("work")
        machine.rewind()
        machine.switch("transport", "record")
        received = machine.process(sent)
        if facts.heads == 2:
            machine.rewind()
            machine.switch("transport", "play")
            received = machine.process(np.zeros_like(sent))
        received = received[_LEAD:] / at_reference / 10 ** (facts.replay_dbfs / 20)
        late = delay_frames(samples, received)
        return received[late : late + len(samples)]

    return path


def delay_frames(sent: Floats, received: Floats) -> int:
    """Delay of the received signal, frames, from the maximum of the correlation around the loudest part."""
    length = min(len(sent), _COMPARED)
    energy = np.concatenate(([0.0], np.cumsum((sent**2).sum(axis=1))))
    start = int(np.argmax(energy[length:] - energy[: len(energy) - length]))
    piece, replayed_part = sent[start : start + length], received[start : start + length + _LATEST]
    size = 2 ** int(np.ceil(np.log2(2 * length + _LATEST)))
    correlation = np.fft.irfft(
        np.fft.rfft(replayed_part, size, axis=0) * np.conj(np.fft.rfft(piece, size, axis=0)), size, axis=0
    )[: len(received) - len(sent)]
    return int(np.argmax(np.abs(correlation).sum(axis=1)))


def replay_music(
    piece: Floats, path: SignalPath, system: System | None, sides_db: tuple[float, float] = (0.0, 0.0)
) -> ReplayedMusic:
    """Music that is encoded, recorded, replayed and decoded; or only recorded and replayed.

    Args:
        piece: the music, shape (frames, 2), 48 kHz, not silent.
        path: from recording to replay.
        system: noise reduction before and after it; None for none.
        sides_db: gain errors of the side paths of encoder and decoder.
    """
    to_tape = 10 ** (RECORDED_PEAK_DB / 20) / np.abs(piece).max()
    sent = piece * to_tape
    if system is None:
        received = path(sent)
    else:
        passed = np.interp(FREQUENCIES, PILOT_FILTER_HZ, (0.0, PILOT_FILTER_DB))
        encoder, decoder = (
            NoiseReduction(system, RATE, 2, decode=last, side_error_db=db)
            for last, db in zip((False, True), sides_db, strict=True)
        )
        received = decoder.run(path(encoder.run(_filtered(sent, [passed]))))
    received = received / to_tape
    before, after = _power_spectrum(piece), _power_spectrum(received)
    gain_db = _band_level_db(before, *MATCHED_HZ) - _band_level_db(after, *MATCHED_HZ)
    if _band_level_db(before, *MATCHED_HZ) < _band_level_db(before, 0.0, RATE) + FAINT_DB:
        gain_db = _band_level_db(before, 0.0, RATE) - _band_level_db(after, 0.0, RATE)
    change = {}
    for hz in OCTAVE_BANDS_HZ:
        edges = hz / np.sqrt(2), hz * np.sqrt(2)
        if _band_level_db(before, *edges) > _band_level_db(before, 0.0, RATE) + FAINT_DB:
            change[hz] = _band_level_db(after, *edges) - _band_level_db(before, *edges) + gain_db
    return ReplayedMusic(received * 10 ** (gain_db / 20), gain_db, change)


def _power_spectrum(samples: Floats) -> tuple[Floats, Floats]:
    """Frequencies, and the total power of both channels at each."""
    power: Floats = (np.abs(np.fft.rfft(samples, axis=0)) ** 2).sum(axis=1)
    return np.asarray(np.fft.rfftfreq(len(samples), 1 / RATE), dtype=float), power


def _band_level_db(powers: tuple[Floats, Floats], low: float, high: float) -> float:
    """Level of a band, dB."""
    hz, power = powers
    first, last = np.searchsorted(hz, (low, high))
    return 10 * float(np.log10(power[first:last].sum() + 1e-30))


def resampled(samples: Floats, rate: int) -> Floats:
    """Samples resampled to 48 kHz by a polyphase filter; shape (frames, channels)."""
    if rate == RATE:
        return samples
    from scipy.signal import resample_poly

    common = int(np.gcd(rate, RATE))
    return np.asarray(resample_poly(samples, RATE // common, rate // common, axis=0))
