"""The owner's complaint and its cause in one plain paragraph: level, treble, and the effect of noise reduction."""

from __future__ import annotations

from collections.abc import Sequence

from bench.figures import as_given, hertz, number
from bench.measure.quantities.mistracking import errors_of
from bench.measure.reading import Channel
from bench.measure.stage import Stage
from bench.problem import Problem
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Answered
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.outcome import last_attempts
from bench.procedure.state.record_to_replay import record_to_replay
from bench.session.record.record import SessionRecord
from bench.tape.mistracking_map import SYSTEM_NAMES, MistrackingMap, ReplayErrors, mistracking_map, worst_map
from bench.tape.noise_reduction import System
from bench.words.mistracking import music_sentence
from bench.words.names import CHANNELS, STAGES

HARMLESS_DB = 0.5
"""A smaller loss or gain is inaudible (common practice, no source)."""
FOUND: tuple[Stage, ...] = ("found-dirty", "found-clean")
SYSTEMS: dict[str, System] = {name: system for system, name in SYSTEM_NAMES.items()}
NOBODY = ("unattended rehearsal", "nothing was said", "")
"""Answers that are not an owner's words."""


def owner_summary(session: SessionRecord) -> str:
    """One paragraph; "" where no complaint was noted and nothing was measured from record to replay."""
    said = complaint(session)
    tapes = session.job.tapes
    of_tapes = [_of_tape(session, lot, tape if len(tapes) > 1 else "") for lot, tape in tapes.items()]
    parts = [f"The owner said: “{said}”."] * bool(said) + [part for of_tape in of_tapes for part in of_tape]
    if said and not any(of_tapes):
        parts.append("Nothing was measured from record to replay, so the cause of the complaint is not known.")
    return " ".join(parts)


def _of_tape(session: SessionRecord, lot: str, name: str) -> list[str]:
    """What one tape was and is; with its name, where the machine is lined up for several."""
    mine = [r for r in session.readings if not name or r.lot == lot]
    valid = [r for r in session.valid_readings if not name or r.lot == lot]
    stages = [(stage, _errors(valid, stage)) for stage in FOUND]
    before = next(((stage, found) for stage, found in stages if found), None)
    left = _errors(valid, "left")
    parts = []
    if before:
        what = f"what was recorded on {name}" if name else "what was recorded"
        parts.append(f"{STAGES[before[0]].capitalize()}, {what} came back {_came_back(before[1])}.")
        parts.append(_heard(mine, *before, _noise_reduction(session), past=True))
    if left:
        now = f"what is recorded on {name}" if name else "it" if before else "what is recorded"
        said = f"As left{',' if name else ''} {now}" if session.adjusted else f"{now[0].upper()}{now[1:]}"
        parts.append(f"{said} comes back {_came_back(left)}.")
        parts.append(_heard(mine, "left", left, _noise_reduction(session), past=False))
    return [part for part in parts if part]


def _noise_reduction(session: SessionRecord) -> str:
    """What the owner switches in, as answered at the step that asks; Type B where nobody was asked."""
    asking = {step.id for step in session.steps if step.noise_reduction}
    return str(next((e.answer for e in of_kind(session.events, Answered) if e.step in asking), "Type B"))


def complaint(session: SessionRecord) -> str:
    """The owner's words as typed at the step that asks for them; "" without any."""
    asking = {step.id for step in session.steps if step.complaint}
    said = next((e.answer for e in of_kind(session.events, Answered) if e.step in asking), "")
    words = str(said).strip().rstrip(".")
    return "" if words.casefold() in NOBODY else words


def tracking_of(readings: Sequence[ReadingRecord], stage: Stage) -> MistrackingMap | None:
    """The effect of Type B on the worse channel at a stage; None where nothing was measured."""
    found = _errors(readings, stage)
    return worst_map([mistracking_map("type-b", e) for e in found.values()]) if found else None


def _errors(readings: Sequence[ReadingRecord], stage: Stage) -> dict[Channel, ReplayErrors]:
    recorded = record_to_replay([r for r in readings if r.stage == stage])
    if recorded is None:
        return {}
    try:
        return errors_of(recorded.readings)
    except Problem:  # a dead channel, whose level has no error
        return {}


def _came_back(found: dict[Channel, ReplayErrors]) -> str:
    level_channel = max(found, key=lambda c: abs(found[c].level_db))
    level = found[level_channel].level_db
    parts = []
    if abs(level) < HARMLESS_DB:
        parts.append(f"within {as_given(HARMLESS_DB)} dB of its own level")
    else:
        parts.append(f"{number(abs(level), 1)} dB too {'low' if level < 0 else 'loud'}{_in(level_channel, found)}")
    treble = [(db, hz, c) for c, e in found.items() for hz, db in e.treble if hz > e.reference_hz]
    if not treble:
        return parts[0]
    db, hz, channel = max(treble, key=lambda t: abs(t[0]))
    if abs(db) < HARMLESS_DB:
        parts.append(f"with less than {as_given(HARMLESS_DB)} dB of treble lost or gained")
    else:
        how = "lost" if db < 0 else "too much"
        parts.append(f"with {number(abs(db), 1)} dB of treble {how} at {hertz(hz)}{_in(channel, found)}")
    return ", ".join(parts)


def _in(channel: Channel, found: dict[Channel, ReplayErrors]) -> str:
    return f" in the {CHANNELS[channel]} channel" if len(found) > 1 else ""


def _heard(
    readings: Sequence[ReadingRecord],
    stage: Stage,
    found: dict[Channel, ReplayErrors],
    noise_reduction: str,
    *,
    past: bool,
) -> str:
    """The effect of the owner's noise reduction; where a channel is inverted, that nothing sounds right."""
    at_stage = [r for r in last_attempts(tuple(readings)) if r.stage == stage]
    if any(r.reading.quantity == "polarity" for r in at_stage):
        was, did = ("was", "did") if past else ("is", "will")
        return f"One channel {was} inverted, so that music {did} not sound right and cancels in mono."
    if noise_reduction not in SYSTEMS:
        return ""
    worst = worst_map([mistracking_map(SYSTEMS[noise_reduction], e) for e in found.values()])
    return f"With {noise_reduction} noise reduction switched in, {music_sentence(worst, past=past)}."
