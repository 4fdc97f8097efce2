"""The page about a cause: its physics, its effect on readings by the model, and what can be mistaken for it."""

from __future__ import annotations

import numpy as np

from bench.diagnosis.causes.cause import Cause, Variant
from bench.diagnosis.causes.table import CAUSES, WIRING
from bench.diagnosis.machine import Machine
from bench.diagnosis.next_test import MEASUREMENTS, blank_rows
from bench.diagnosis.output.physics import PHYSICS
from bench.diagnosis.parameters import index, usual
from bench.diagnosis.readings.finding import Source
from bench.diagnosis.rows import DataRow, Rows
from bench.figures import hertz, number
from bench.measure.catalogue import QUANTITIES
from bench.problem import Problem
from bench.words.sentences import capitalised

SHOWN = 0.3
"""An effect smaller than this multiple of a reading's scatter is not shown."""
SIDES: tuple[tuple[Source, str], ...] = (("reference-tape", "reference tape"), ("record-replay", "own recording"))


def about(name: str, machine: Machine) -> list[str]:
    """The page about a cause, as lines.

    Raises:
        Problem: there is no such cause.
    """
    if name not in PHYSICS:
        raise Problem(f"{name}: no such cause; tapebench diagnose --help lists them")
    cause = next((c for c in CAUSES if c.name == name), None)
    out = [capitalised(cause.title if cause else name.replace("-", " ")), "", PHYSICS[name]]
    if cause is None:
        return out
    out += ["", "What it does to readings, at a usual size:", *signature(cause, machine)]
    for other in cause.like:
        like = next(c for c in CAUSES if c.name == other)
        out += [f"Reads like: {like.title}. {_distinction(cause, like)}"]
    out += (
        [f"A look that settles it, in {number(cause.look_minutes, 1)} min: {_sentence(cause.look)}"]
        if cause.look
        else []
    )
    return [*out, f"Mended by: {cause.mended_by}.", f"If it is left: {cause.left}."]


def signature(cause: Cause, machine: Machine) -> list[str]:
    """The effect of a cause of usual size, a line for each curve or figure."""
    variant = max(cause.variants, key=lambda v: v.share)
    if not variant.moves:
        return ["  a smooth curve of its own, of any shape"]
    # Before cleaning and demagnetising every cause still has its effect.
    data_rows = [p for test in MEASUREMENTS for p in blank_rows(test, machine, "before-cleaning")]
    rows = Rows(data_rows, machine)
    moved = _effect(variant, rows)
    out = []
    for source, said in SIDES:
        curve = {
            p.tone.hz: moved[n]
            for n, p in enumerate(rows.data_rows)
            if p.tone and p.tone.group[1] == source and p.tone.relative_to and p.finding.channel == "left"
        }
        if curve and max(abs(v) for v in curve.values()) > SHOWN:
            points = ", ".join(f"{hertz(hz)} {number(db, 1, sign=True)}" for hz, db in curve.items())
            out.append(f"  response, {said}, dB: {points}")
    for n, p in enumerate(rows.data_rows):
        flat = p.tone is None or p.tone.relative_to is None
        if flat and p.finding.channel != "right" and abs(moved[n]) > SHOWN * p.scatter and abs(moved[n]) > 0.05:
            out.append(f"  {_title(p)}: {_change(p, float(moved[n]))}")
    return list(dict.fromkeys(out)) or ["  nothing that any reading shows"]


def _effect(variant: Variant, rows: Rows) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    vectors = np.repeat(usual()[0][None], 2, axis=0)
    for m in variant.moves:
        vectors[1, index(m.figure, *m.at)] += m.sign * m.median
    read = rows.predict(vectors)
    return np.asarray(read[1] - read[0])


def _title(p: DataRow) -> str:
    source = {"reference-tape": ", reference tape", "tape-stopped": ", tape stopped"}.get(p.finding.source, "")
    return QUANTITIES[p.finding.quantity].title.lower() + source


def _change(p: DataRow, moved: float) -> str:
    """A factor for a quantity with a logarithmic scale; otherwise a difference."""
    if p.kind in ("flutter", "part", "weave", "dropouts"):
        return f"{number(float(np.exp(moved)), 1)} times"
    unit = "dB" if p.finding.unit in ("dB", "dBFS", "") or p.kind in ("third", "second") else p.finding.unit
    less = -moved if p.finding.quantity == "signal_to_noise" else moved
    return f"{number(less, 1, sign=True)} {unit}"


def _distinction(cause: Cause, other: Cause) -> str:
    look = other.look or cause.look
    return f"To tell them apart: {_sentence(look)}" if look else "Their readings on the other stage tell them apart."


def _sentence(text: str) -> str:
    return text if text.endswith("?") else f"{text}."


assert set(PHYSICS) == {c.name for c in CAUSES} | set(WIRING)
