"""Encoding curves of noise reduction for steady tones, against which a single encoder or decoder is checked.

A tone recorded with noise reduction in and replayed with it out is higher, by the encoder's boost, than the same tone
without noise reduction. A tone recorded with it out and replayed with it in is lower by the decoder's cut. The decoder
is checked with tones at the levels that a correct encoder would have produced.
"""

from __future__ import annotations

from bench.tape.fluxivity import Fluxivity, convert_method, ratio_db
from bench.tape.noise_reduction import System, encoded_level_db

TOLERANCE_DB = 1.5
"""The data sheet's limits, ± about its typical figures."""
TYPE_B_DATA_SHEET: tuple[tuple[float, float, float], ...] = (
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
"""A point of the data sheet is used within this distance in level."""
_TYPE_A_TONES = ((63.0, -40.0), (400.0, -40.0), (1000.0, -40.0), (5000.0, -40.0), (12500.0, -40.0), (1000.0, -20.0))

CASSETTE_LEVEL = Fluxivity(200.0, "ANSI")
OPEN_REEL_LEVEL = Fluxivity(185.0, "ANSI")
"""Reference levels of noise reduction. The open-reel level and its measuring method are from memory."""


def reference_level_db(machine: Fluxivity, iec_type: str) -> float:
    """The reference level of noise reduction, dB re the machine's reference level.

    Args:
        machine: the machine's reference level.
        iec_type: the tape type: I, II, IV or open reel.
    """
    level = OPEN_REEL_LEVEL if iec_type == "open reel" else CASSETTE_LEVEL
    flux, _ = convert_method(level, machine.method)
    return ratio_db(flux, machine)


def encoding_tones(system: System) -> tuple[tuple[float, float], ...]:
    """Tones that test an encoder: Hz, and dB before encoding re the reference level of the noise reduction."""
    return tuple((hz, db) for hz, db, _ in TYPE_B_DATA_SHEET) if system == "type-b" else _TYPE_A_TONES


def decoding_tones(system: System) -> tuple[tuple[float, float], ...]:
    """The same tones at their encoded levels, which a correct decoder returns to the levels before encoding."""
    return tuple((hz, round(db + boost_db(system, hz, db), 2)) for hz, db in encoding_tones(system))


def boost_db(system: System, frequency_hz: float, level_db: float) -> float:
    """The encoder's boost of a tone, dB.

    Type B: the data sheet's figure at its points; within 3 dB in level of a point, that figure plus the difference
    that `noise_reduction.type_b_gain` computes; elsewhere the computed boost alone. Type A: the computed boost, whose
    figures are from memory.

    Args:
        system: `type-b` or `type-a`.
        frequency_hz: frequency of the tone.
        level_db: level before encoding, re the reference level of the noise reduction.
    """
    computed = float(encoded_level_db(system, frequency_hz, level_db)) - level_db
    for db, boost in _data_sheet_points(system, frequency_hz):
        if abs(level_db - db) <= _NEAR_DB:
            return boost + computed - (float(encoded_level_db(system, frequency_hz, db)) - db)
    return computed


def _data_sheet_points(system: System, frequency_hz: float) -> list[tuple[float, float]]:
    """Level and boost of the data sheet's points at a frequency."""
    return [
        (db, boost) for hz, db, boost in TYPE_B_DATA_SHEET if system == "type-b" and abs(frequency_hz / hz - 1) < 0.01
    ]
