"""Checks of a sheet beyond the types of its keys."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from bench.figures import hertz
from bench.procedure.load.file_problems import Mistake, did_you_mean, quoted
from bench.procedure.model.sheets import (
    Exercise,
    Interface,
    LinearityPoint,
    Machine,
    ReferenceTape,
    ResponsePoint,
    SheetBase,
    Tape,
)
from bench.procedure.model.targets import Target


def check_sheet(sheet: SheetBase) -> list[Mistake]:
    """Every mistake within a sheet."""
    match sheet:
        case Machine():
            return [*_targets(sheet.targets), *_machine(sheet), *_settings(sheet)]
        case Tape():
            return list(_targets(sheet.targets))
        case ReferenceTape():
            return list(_sections(sheet))
        case Interface():
            return [*_points("response", sheet.response), *_points("linearity", sheet.linearity)]
        case Exercise():
            return list(_exercise(sheet))
    return []


def _targets(targets: Mapping[str, Target]) -> Iterator[Mistake]:
    for name, target in targets.items():
        at = ("targets", name)
        if not re.fullmatch(r"[a-z0-9_]+", name):
            yield Mistake(at, "no step can name it", 'use small letters, digits and _, as in "replay_level"')
        if not target.unit.strip():
            yield Mistake((*at, "unit"), "is empty: a figure without its unit says nothing", 'fill it in, as in "dB"')
        limits = [key for key in ("at_least", "at_most") if getattr(target, key) is not None]
        if limits and (len(limits) > 1 or target.tolerance is not None or target.bands):
            others = "the other limit" if len(limits) > 1 else "a tolerance"
            yield Mistake(
                (*at, limits[0]), f"cannot be combined with {others}", "give one of them: a target is judged one way"
            )
        elif not limits and target.tolerance is None and not target.bands:
            remedy = "give tolerance, bands of frequency, at_least or at_most"
            yield Mistake((*at, "tolerance"), "missing: nothing can be judged", remedy)
        if target.reference is not None and (target.unit != "dB" or not limits):
            said = f"is for a limit in dB, and this is {'a limit' if limits else 'no limit'} in {target.unit}"
            yield Mistake((*at, "reference"), said, "leave it out, or give at_least or at_most in dB")
        for n, band in enumerate(target.bands):
            if band.from_hz >= band.to_hz:
                said = f"from {hertz(band.from_hz)} to {hertz(band.to_hz)} is not a range"
                yield Mistake((*at, "bands", n), said, "from_hz is the lower one")


def _machine(sheet: Machine) -> Iterator[Mistake]:
    for key, value in (("send_dbfs", sheet.reference.send_dbfs), ("replay_dbfs", sheet.reference.replay_dbfs)):
        if value > 0:
            yield Mistake(("reference", key), f"{value:g} dBFS is above full scale", "0 dBFS is the highest there is")
    for n, trimmer in enumerate(sheet.trimmers):
        if trimmer in sheet.trimmers[:n]:
            yield Mistake(("trimmers", n), f"{quoted(trimmer)} is there twice", "list each once")
    for n, part in enumerate(sheet.parts):
        if (part.diameter_mm is None) == (part.hz is None):
            said = "has no rate" if part.hz is None else "has a diameter and a rate"
            yield Mistake(("parts", n), f"{quoted(part.name)} {said}", "give diameter_mm or hz, one of them")


def _settings(sheet: Machine) -> Iterator[Mistake]:
    names = [s.name for s in sheet.setting]
    for n, setting in enumerate(sheet.setting):
        at = ("setting", n)
        if setting.name in names[:n]:
            yield Mistake(
                (*at, "name"), f"{quoted(setting.name)} is there twice", "give each setting a name of its own"
            )
        for m, trimmer in enumerate(setting.own_trimmers):
            if trimmer not in sheet.trimmers:
                said = f"the machine has no trimmer {quoted(trimmer)}"
                yield Mistake((*at, "own_trimmers", m), said, did_you_mean(trimmer, sheet.trimmers))
        for mistake in _targets(setting.targets):
            yield Mistake((*at, *mistake.at), mistake.message, mistake.remedy)


SHORTEST_S = 2.0
"""Shortest section in which a tone can settle and be read. A choice."""


def _sections(tape: ReferenceTape) -> Iterator[Mistake]:
    ids = [s.id for s in tape.section]
    for n, name in enumerate(ids):
        if name in ids[:n]:
            yield Mistake(("section", n, "id"), f"{quoted(name)} is there twice", "give each section an id of its own")
        if tape.section[n].seconds < SHORTEST_S:
            said = f"{quoted(name)} is shorter than the {SHORTEST_S:g} s in which a tone settles and is read"
            yield Mistake(("section", n, "seconds"), said, "give the length of the tone, or leave the section out")
    if tape.certificate_date is not None and tape.certificate_date > datetime.now().astimezone().date():
        said = f"{tape.certificate_date.isoformat()} is still to come"
        yield Mistake(("certificate_date",), said, "give the date that stands on the certificate")


def _points(key: str, points: Sequence[ResponsePoint | LinearityPoint]) -> Iterator[Mistake]:
    seen: set[tuple[float, str]] = set()
    for n, point in enumerate(points):
        where, unit = (point.hz, "Hz") if isinstance(point, ResponsePoint) else (point.sent_dbfs, "dBFS")
        sides = ("left", "right") if point.channel == "both" else (point.channel,)
        if any((where, side) in seen for side in sides):
            yield Mistake((key, n), f"{where:g} {unit} is there twice", "one point for each channel")
        seen |= {(where, side) for side in sides}


def _exercise(sheet: Exercise) -> Iterator[Mistake]:
    if not (sheet.faults or sheet.draws or sheet.dirty or sheet.out_of_adjustment):
        remedy = "give faults, draws, dirty = true or out_of_adjustment = true"
        yield Mistake(("faults",), "nothing is hidden in this machine", remedy)
    for n, fault in enumerate(sheet.faults):
        if fault in sheet.faults[:n]:
            yield Mistake(("faults", n), f"{quoted(fault)} is there twice", "list each once")
    for n, fault in enumerate(sheet.must_find):
        if fault not in sheet.faults:
            yield Mistake(("must_find", n), f"{quoted(fault)} is not hidden", "name one of the faults of this exercise")
