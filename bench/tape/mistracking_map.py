"""Mistracking: the magnification by noise reduction of level and response errors between encoder and decoder.

A decoder derives from its input level how much of the encoder's boost to cut. If that level is wrong, it cuts too much
or too little. Mistracking is what the decoder adds to the error itself, at each frequency and level:

    mistracking(f, L) = decoded(f, encoded(f, L) + e(f)) - L - e(f), dB

where e(f) is the level error plus the response error at f. Negative is duller. A listener hears the sum of response
error and mistracking; the level error is compensated by the volume control:

    heard(f, L) = mistracking(f, L) + e(f) - e(reference frequency), dB

Source: the definition of a complementary compander, and the static laws of `bench.tape.noise_reduction`: Type B is a
fit to published data-sheet points (all within 0.6 dB, limits ±1.5 dB), Type A is built from figures from memory.
The laws hold for steady tones; with music the control signal lags behind the level.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from bench.arrays import Floats
from bench.figures import as_given
from bench.problem import Problem
from bench.tape.noise_reduction import System, decoded_level_db, encoded_level_db

Verdict = Literal["in", "out", "too close to call"]

REFERENCE_HZ = 400.0
TOLERANCE_DB = 3.0
"""Usual tolerance of the heard error; ±2 dB is good. Common practice, no source."""
JUDGED_TO_HZ = 10000.0
"""The heard error is judged up to this frequency, at every level. Common practice, no source."""
LEVELS_DB = tuple(float(-db) for db in range(51))
FREQUENCIES_HZ = tuple(
    float(hz)
    for hz in (
        *(40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800),
        *(1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000),
    )
)
"""Nominal third-octave frequencies (IEC 61260-1)."""
SYSTEM_NAMES: dict[System, str] = {"type-b": "Type B", "type-a": "Type A"}
REFERENCE_NAMES: dict[System, str] = {system: f"reference level of {name}" for system, name in SYSTEM_NAMES.items()}
REFERENCE_FLUX: dict[System, dict[str, str]] = {
    "type-b": {"cassette": "200 nWb/m at 400 Hz (ANSI)", "open reel": "185 nWb/m (from memory)"},
    "type-a": {"open reel": "185 nWb/m (from memory)"},
}
"""The reference levels, by the format of the tape."""
REFERENCE_LEVELS: dict[System, str] = {
    "type-b": f"{REFERENCE_NAMES['type-b']}: "
    + ", ".join(f"on {name} {level}" for name, level in REFERENCE_FLUX["type-b"].items()),
    "type-a": f"{REFERENCE_NAMES['type-a']}: {REFERENCE_FLUX['type-a']['open reel']}",
}
"""The references of the levels, as readings have them."""
_LARGEST_DB = 40.0


@dataclass(frozen=True, slots=True)
class ReplayErrors:
    """Level and response errors of one channel between encoder and decoder: replayed minus recorded.

    Raises:
        Problem: an error beyond ±40 dB, a frequency outside 1 Hz to 100 kHz, or one given twice.
    """

    level_db: float = 0.0
    """Level error at the reference frequency."""
    treble: tuple[tuple[float, float], ...] = ()
    """(Hz, dB re the reference frequency), in any order."""
    reference_hz: float = REFERENCE_HZ
    channel: str = ""
    """`left` or `right`; empty if the errors apply to both, or to a mono machine."""
    uncertainty_db: float = 0.0
    """Expanded uncertainty (k = 2) of the total error at any measured frequency."""
    response_uncertainty_db: float = 0.0
    """Expanded uncertainty (k = 2) of the response error alone."""

    def __post_init__(self) -> None:
        seen = {self.reference_hz}
        for db in (self.level_db, *(db for _, db in self.treble)):
            if not abs(db) <= _LARGEST_DB:
                raise Problem(f"an error of {as_given(db)} dB is no machine's: give one from −40 to 40 dB")
        for hz, _ in self.treble:
            if not 1.0 <= hz <= 100000.0:
                raise Problem(f"{hz:g} Hz: a treble error lies from 1 to 100000 Hz")
            if hz in seen:
                why = "twice" if hz != self.reference_hz else "there, where it is 0 dB: say it as a level error"
                raise Problem(f"{hz:g} Hz: the treble error is given {why}")
            seen.add(hz)

    def at(self, frequency_hz: ArrayLike) -> Floats:
        """Total error, dB: level error plus response error."""
        return self.level_db + self.response_at(frequency_hz)

    def response_at(self, frequency_hz: ArrayLike) -> Floats:
        """Response error, dB: linear in dB over log f between the points, constant beyond the first and the last."""
        points = sorted([(self.reference_hz, 0.0), *self.treble])
        hz = np.log([p[0] for p in points])
        return np.asarray(np.interp(np.log(np.asarray(frequency_hz, dtype=float)), hz, [p[1] for p in points]))

    def shifted(self, by_db: float) -> ReplayErrors:
        """The same errors with the level error raised by this amount."""
        return replace(self, level_db=self.level_db + by_db)


@dataclass(frozen=True, slots=True)
class MistrackingMap:
    """Mistracking and heard error over levels and frequencies, with the worst heard error and its verdict.

    Both have the shape (levels, frequencies): over `LEVELS_DB` and `FREQUENCIES_HZ`.
    """

    system: System
    errors: ReplayErrors
    mistracking_db: Floats = field(repr=False)
    heard_db: Floats = field(repr=False)
    worst_level_db: float
    worst_hz: float
    worst_db: float
    """Heard error there: response error plus mistracking."""
    worst_mistracking_db: float
    """Mistracking there."""
    uncertainty_db: float
    """Expanded uncertainty (k = 2) of the worst heard error."""
    mistracking_uncertainty_db: float
    """Expanded uncertainty (k = 2) of the mistracking there."""
    tolerance_db: float
    verdict: Verdict

    @property
    def worst_response_db(self) -> float:
        """Response error at the worst point."""
        return self.worst_db - self.worst_mistracking_db


def mistracking_db(system: System, frequency_hz: ArrayLike, level_db: ArrayLike, errors: ReplayErrors) -> Floats:
    """What the decoder adds to the error, dB; negative is duller.

    Args:
        system: `type-b` or `type-a`.
        frequency_hz: any shape, Hz.
        level_db: level before encoding, dB re the reference level; broadcast against the frequency.
        errors: the errors between encoder and decoder.
    """
    level, error = np.asarray(level_db, dtype=float), errors.at(frequency_hz)
    decoder_input = encoded_level_db(system, frequency_hz, level) + error
    return np.asarray(decoded_level_db(system, frequency_hz, decoder_input) - level - error)


def mistracking_map(system: System, errors: ReplayErrors, tolerance_db: float = TOLERANCE_DB) -> MistrackingMap:
    """Mistracking and heard error over all levels and frequencies, the worst heard error, and the verdict.

    The verdict is `in` or `out` only if it is the same at both ends of the uncertainty of the worst heard error.

    Args:
        system: `type-b` or `type-a`.
        errors: the errors between encoder and decoder.
        tolerance_db: tolerance, ± dB.

    Raises:
        Problem: a tolerance of 0 dB or less, or above 40 dB.
    """
    if not 0.0 < tolerance_db <= _LARGEST_DB:
        raise Problem(f"a tolerance of {tolerance_db:g} dB: it is larger than 0 and 40 dB at most")
    levels, frequencies = np.array(LEVELS_DB)[:, None], np.array(FREQUENCIES_HZ)[None]

    def mistracking_of(e: ReplayErrors) -> Floats:
        return mistracking_db(system, frequencies, levels, e)

    nominal = mistracking_of(errors)
    worst = worst_heard(errors, nominal, mistracking_of)
    inside = [abs(worst.db) + sign * worst.uncertainty_db <= tolerance_db for sign in (-1.0, 1.0)]
    return MistrackingMap(
        system=system,
        errors=errors,
        mistracking_db=nominal,
        heard_db=nominal + errors.response_at(frequencies),
        worst_level_db=worst.level_db,
        worst_hz=worst.hz,
        worst_db=worst.db,
        worst_mistracking_db=worst.mistracking_db,
        uncertainty_db=worst.uncertainty_db,
        mistracking_uncertainty_db=worst.mistracking_uncertainty_db,
        tolerance_db=tolerance_db,
        verdict="in" if all(inside) else "too close to call" if any(inside) else "out",
    )


@dataclass(frozen=True, slots=True)
class WorstHeard:
    """The worst heard error up to `JUDGED_TO_HZ`."""

    db: float
    mistracking_db: float
    level_db: float
    hz: float
    uncertainty_db: float
    """Expanded uncertainty (k = 2): what is heard is nowhere further off than the worst point by more than this."""
    mistracking_uncertainty_db: float
    """Expanded uncertainty (k = 2) of the mistracking at the worst point."""


def worst_heard(
    errors: ReplayErrors, nominal_db: Floats, mistracking_of: Callable[[ReplayErrors], Floats]
) -> WorstHeard:
    """The worst heard error.

    Args:
        errors: the errors between encoder and decoder.
        nominal_db: mistracking at these errors, over `LEVELS_DB` and `FREQUENCIES_HZ`.
        mistracking_of: gives the same for other errors.
    """
    judged = np.array(FREQUENCIES_HZ) <= JUDGED_TO_HZ
    response = errors.response_at(FREQUENCIES_HZ)[judged]
    heard = nominal_db[:, judged] + response
    row, column = np.unravel_index(int(np.argmax(np.abs(heard))), heard.shape)
    worst_db = float(heard[row, column])
    spread, of_mistracking = np.zeros_like(heard), 0.0
    for sign in (-1.0, 1.0) if errors.uncertainty_db else ():
        moved = mistracking_of(errors.shifted(sign * errors.uncertainty_db))[:, judged]
        of_mistracking = max(of_mistracking, float(abs(moved - nominal_db[:, judged])[row, column]))
        spread = np.maximum(spread, np.abs(moved + response + sign * errors.response_uncertainty_db - heard))
    return WorstHeard(
        db=worst_db,
        mistracking_db=float(nominal_db[row, column]),
        level_db=LEVELS_DB[row],
        hz=FREQUENCIES_HZ[column],
        uncertainty_db=max(float(spread[row, column]), float((np.abs(heard) + spread).max()) - abs(worst_db)),
        mistracking_uncertainty_db=of_mistracking,
    )


def worst_map(maps: Sequence[MistrackingMap]) -> MistrackingMap:
    """The map with the largest heard error."""
    return max(maps, key=lambda m: abs(m.worst_db))
