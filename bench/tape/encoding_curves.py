"""What a noise-reduction circuit should make of steady tones, so that one can be checked by itself.

Recorded with it in and replayed with it out, a tone comes back higher by the encoder's boost than recorded with it
out: its encoding curve. Recorded with it out and replayed with it in, it comes back lower by the decoder's cut: a tape
whose encoding is known is one on which the tones stand at the levels that an encoder would have given them.
"""

from __future__ import annotations

from bench.tape.fluxivity import Fluxivity, by_method, ratio_db
from bench.tape.noise_reduction import System, encoded_level_db

TOLERANCE_DB = 1.5
"""Limits of the data sheet, about its typical figures."""
TYPE_B_SHEET: tuple[tuple[float, float, float], ...] = (
    (1300.0, -20.0, 4.3),
    (2500.0, -20.0, 4.1),
    (3000.0, -30.0, 8.8),
    (5000.0, -30.0, 8.2),
    (10000.0, 0.0, 0.5),
    (10000.0, -40.0, 10.4),
    (14000.0, -30.0, 6.1),
)
"""Hz, dB before encoding re the reference level, boost in dB: typical figures of component data sheet NTE2003."""
_NEAR_DB = 3.0
_TYPE_A_TONES = ((63.0, -40.0), (400.0, -40.0), (1000.0, -40.0), (5000.0, -40.0), (12500.0, -40.0), (1000.0, -20.0))

CASSETTE_LEVEL = Fluxivity(200.0, "ANSI")
OPEN_REEL_LEVEL = Fluxivity(185.0, "ANSI")
"""The reference levels of noise reduction. That of open reel, and its measuring method, are from memory."""


def reference_level_db(machine: Fluxivity, iec_type: str) -> float:
    """The reference level of noise reduction, dB re the reference level of a machine.

    Args:
        machine: the machine's reference level.
        iec_type: of its tape: I, II, IV or open reel.
    """
    level = OPEN_REEL_LEVEL if iec_type == "open reel" else CASSETTE_LEVEL
    flux, _ = by_method(level, machine.method)
    return ratio_db(flux, machine)


def encoding_tones(system: System) -> tuple[tuple[float, float], ...]:
    """Tones that show an encoding curve: Hz, and dB re the reference level of the noise reduction, before encoding."""
    return tuple((hz, db) for hz, db, _ in TYPE_B_SHEET) if system == "type-b" else _TYPE_A_TONES


def decoding_tones(system: System) -> tuple[tuple[float, float], ...]:
    """The same tones at the levels that an encoder gives them: what a decoder should bring back to where they were."""
    return tuple((hz, round(db + boost_db(system, hz, db), 2)) for hz, db in encoding_tones(system))


def boost_db(system: System, frequency_hz: float, level_db: float) -> float:
    """How much higher a tone comes out of the encoder, dB.

    Type B: the data sheet's figure at its points, carried to levels within 3 dB of one by the law of
    `noise_reduction.type_b_gain`; that law elsewhere. Type A: the law, whose figures are from memory.

    Args:
        system: `type-b` or `type-a`.
        frequency_hz: of the tone.
        level_db: before encoding, re the reference level of the noise reduction.
    """
    by_law = float(encoded_level_db(system, frequency_hz, level_db)) - level_db
    for db, boost in _points(system, frequency_hz):
        if abs(level_db - db) <= _NEAR_DB:
            return boost + by_law - (float(encoded_level_db(system, frequency_hz, db)) - db)
    return by_law


def _points(system: System, frequency_hz: float) -> list[tuple[float, float]]:
    """Level and boost of the data sheet's points at a frequency."""
    return [(db, boost) for hz, db, boost in TYPE_B_SHEET if system == "type-b" and abs(frequency_hz / hz - 1) < 0.01]
