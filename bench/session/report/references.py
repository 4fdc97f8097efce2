"""What readings are relative to: in the tables by name, and below them once in full."""

from __future__ import annotations

from collections.abc import Iterable

from bench.measure.reading import Result
from bench.procedure.state.journal import ReadingRecord
from bench.tape.mistracking_map import REFERENCE_FLUX, REFERENCE_LEVELS, REFERENCE_NAMES
from bench.tape.noise_reduction import System
from bench.words.sentences import capitalised

_SYSTEMS: dict[str, System] = {full: system for system, full in REFERENCE_LEVELS.items()}


def reference_text(reading: Result) -> str:
    """What a reading is relative to; the reference level of a noise reduction by its name alone."""
    full = str(reading.reference)
    return REFERENCE_NAMES[_SYSTEMS[full]] if full in _SYSTEMS else full


def reference_notes(records: Iterable[ReadingRecord], tape_format: str) -> tuple[str, ...]:
    """Each reference level of a noise reduction, for the format of the tape; for each format, where it is not known."""
    systems = dict.fromkeys(_SYSTEMS[full] for r in records if (full := str(r.reading.reference)) in _SYSTEMS)
    return tuple(f"{capitalised(REFERENCE_NAMES[s])}: {_flux(REFERENCE_FLUX[s], tape_format)}" for s in systems)


def _flux(levels: dict[str, str], tape_format: str) -> str:
    own = levels.get(tape_format)
    return own or ", ".join(f"on {name} {level}" for name, level in levels.items())
