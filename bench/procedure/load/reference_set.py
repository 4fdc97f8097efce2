"""Several reference tapes as one: their sections in the order of play, each with the flux of its tape."""

from __future__ import annotations

from collections.abc import Sequence

from bench.procedure.load.file_problems import Mistake, quoted
from bench.procedure.model.sheets import ReferenceSet, ReferenceTape, Section


def join_tapes(whole: ReferenceSet, tapes: Sequence[ReferenceTape]) -> tuple[ReferenceTape | None, list[Mistake]]:
    """Join the tapes of a set into one reference tape, or list the mistakes that prevent it."""
    mistakes = _mistakes(tapes)
    if mistakes:
        return None, mistakes
    level = next(t for t in tapes if any(s.purpose == "level" for s in t.section))
    taken: set[str] = set()
    sections: list[Section] = []
    for number, tape in enumerate(tapes, start=1):
        for section in tape.section:
            name = section.id if section.id not in taken else f"{section.id}-{number}"
            taken.add(name)
            flux = tape.flux_of(section)
            own = {
                "id": name,
                "tape": tape.name,
                "fluxivity_nwb_m": flux.nwb_m,
                "fluxivity_method": flux.method,
                "uncertainty_db": section.uncertainty_db or tape.uncertainty_db,
            }
            sections.append(section.model_copy(update=own))
    speed = [t.speed_uncertainty_percent for t in tapes if any(s.purpose == "speed" for s in t.section)]
    azimuth = [t.azimuth_uncertainty_arcmin for t in tapes if any(s.purpose == "azimuth" for s in t.section)]
    one = level.model_copy(
        update={
            "name": whole.name,
            "notes": whole.notes,
            "serial": ", ".join(t.serial for t in tapes if t.serial),
            "certificate": ", ".join(t.certificate for t in tapes if t.certificate),
            "speed_uncertainty_percent": max(speed, default=level.speed_uncertainty_percent),
            "azimuth_uncertainty_arcmin": max(azimuth, default=level.azimuth_uncertainty_arcmin),
            "section": tuple(sections),
        }
    )
    return one, []


def _mistakes(tapes: Sequence[ReferenceTape]) -> list[Mistake]:
    at = ("tapes",)
    if not any(s.purpose == "level" for t in tapes for s in t.section):
        return [Mistake(at, "none of these tapes has a level tone", "add the one with the level tone")]
    first = tapes[0]
    for tape in tapes[1:]:
        for what, mine, theirs in (
            ("speed", first.speed_mm_s, tape.speed_mm_s),
            ("equalisation", first.equalisation_us, tape.equalisation_us),
        ):
            if mine != theirs:
                said = f"{quoted(first.name)} and {quoted(tape.name)} are for different {what}"
                return [Mistake(at, said, f"name tapes of one {what}")]
    return []
