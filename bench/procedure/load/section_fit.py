"""Fits steps to the reference tapes that a workshop has: which section serves a step, and which steps do not apply.

A procedure names sections by their purpose: "level-400", "azimuth-3k15", "speed-3150". Another tape serves a step with
a section of the same purpose at another frequency: the level at 315 Hz, the speed at 3000 Hz. Coarse azimuth is set on
the highest unambiguous tone of any purpose, because every tone of a reference tape is on both tracks.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from bench.figures import hertz
from bench.procedure.load.check_fit import COARSE_AZIMUTH_HZ, SERVES
from bench.procedure.load.expansion import PlacedStep
from bench.procedure.model.sheets import ReferenceTape, Section
from bench.procedure.model.step_base import SECTION, TONE
from bench.procedure.model.steps import Adjust, ByHand, Entry, Measure, Reference
from bench.words.sentences import listed

NAMED = re.compile(r"(level|azimuth|response|speed)-(\d+)(k(\d*))?$")
"""Purpose and frequency in the usual name of a section: "response-12k5"."""
NEAR = 1.3
"""Ratio of frequencies within which one response tone can replace another. A choice."""


def fit_to_sections(placing: PlacedStep, tape: ReferenceTape) -> PlacedStep:
    """Fit a step to this reference tape or set of tapes; not applicable where no section serves it."""
    step = placing.step
    if placing.why_not:
        return placing
    if isinstance(step, Reference):
        return _reference(placing, step, tape)
    if isinstance(step, ByHand) and "load-reference-tape" in step.does:
        return replace(placing, step=step.model_copy(update={"do": f"{_which(tape)} {step.do}"}))
    if not isinstance(step, Adjust | Measure | Entry) or step.plays is None:
        return placing
    section = section_for(step.plays, tape.section)
    if section is None:
        wanted = _wanted(step.plays)
        why_not = f"no reference tape here has {wanted}"
        return replace(placing, why_not=why_not, lacks_tape=True) if wanted else placing
    load = f"Load {section.tape}. " if section.tape else ""
    return replace(placing, step=step.model_copy(update={"plays": section.id, "do": f"{load}{step.do}"}))


def name_sections(placing: PlacedStep, tape: ReferenceTape) -> PlacedStep:
    """A step whose texts name the section that it plays."""
    step = placing.step
    if not isinstance(step, Adjust | Measure | Entry) or step.plays is None:
        return placing
    named = NAMED.match(step.plays)
    wanted = [(named[1], _hz(named))] if named else []
    purpose, hz = next(iter([*((s.purpose, s.hz) for s in tape.section if s.id == step.plays), *wanted]), ("", 0.0))
    if not purpose:
        return placing
    tone = hertz(hz)

    def said(text: str) -> str:
        return text.replace(TONE, tone).replace(SECTION, f"{tone} {purpose} section")

    changes: dict[str, Any] = {key: said(getattr(step, key)) for key in ("title", "do", "why", "good", "if_not")}
    changes["hints"] = tuple(said(hint) for hint in step.hints)
    changes["cautions"] = tuple(c.model_copy(update={"say": said(c.say)}) for c in step.cautions)
    return replace(placing, step=step.model_copy(update=changes))


def _reference(placing: PlacedStep, step: Reference, tape: ReferenceTape) -> PlacedStep:
    """Remove the quantities that no section gives."""
    there = {s.purpose for s in tape.section if not step.purposes or s.purpose in step.purposes}
    targets = {q: name for q, name in step.targets.items() if there & set(SERVES[q])}
    if not targets:
        why_not = f"no reference tape here has a section for {listed(list(step.targets))}"
        return replace(placing, why_not=why_not, lacks_tape=True)
    changes: dict[str, Any] = {"targets": targets, "purposes": tuple(p for p in step.purposes if p in there)}
    changes["do"] = f"{_which(tape)} {step.do}"
    return replace(placing, step=step.model_copy(update=changes))


def _which(tape: ReferenceTape) -> str:
    """The tape to load; for a set, the tapes in order."""
    if not tape.names:
        return f"The reference tape is {tape.name}."
    return f"The reference tapes are {listed(list(tape.names))}. Load the next one when the lines of one are ticked."


def section_for(plays: str, sections: Sequence[Section]) -> Section | None:
    """The section that serves a step: the named one, else the nearest with the same use."""
    same = next((s for s in sections if s.id == plays), None)
    named = NAMED.match(plays)
    if same is not None or named is None:
        return same
    purpose, hz = named[1], _hz(named)
    if purpose == "azimuth" and hz <= COARSE_AZIMUTH_HZ:
        low = [s for s in sections if s.hz <= COARSE_AZIMUTH_HZ]
        return max(low, key=lambda s: (s.hz, s.purpose == "azimuth"), default=None)
    own = [s for s in sections if s.purpose == purpose]
    if purpose == "azimuth":
        return max((s for s in own if s.hz > COARSE_AZIMUTH_HZ), key=lambda s: s.hz, default=None)
    if purpose == "response":
        own = [s for s in own if max(s.hz, hz) / min(s.hz, hz) <= NEAR]
    return min(own, key=lambda s: abs(math.log(s.hz / hz)), default=None)


def _hz(named: re.Match[str]) -> float:
    if named[3] is None:
        return float(named[2])
    return 1000.0 * float(f"{named[2]}.{named[4] or 0}")


def _wanted(plays: str) -> str:
    """What a usual name means: "response at 12.5 kHz"; "" for any other name."""
    named = NAMED.match(plays)
    return f"{named[1]} at {hertz(_hz(named))}" if named else ""
