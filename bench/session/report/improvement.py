"""What cleaning restored and what the line-up restored, in one sentence each."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from bench.figures import as_given, hertz
from bench.measure.catalogue import QUANTITIES
from bench.measure.method import Method
from bench.measure.reading import Channel, Result
from bench.measure.stage import Stage
from bench.procedure.state.journal import ReadingRecord
from bench.words.figures import figure, with_uncertainty, with_unit
from bench.words.names import CHANNELS, STAGES, short_stage
from bench.words.sentences import NO_BREAK, listed

TREBLE_FROM_HZ = 4000.0
"""Type B noise reduction has its full effect from here up (common practice, no source)."""

NOTHING_ADJUSTED = "No trimmer was turned."

GAVE_BACK = "gave back "

Key = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """The same thing measured at two stages."""

    quantity: str
    unit: str
    source: str
    channel: Channel
    frequency_hz: float | None
    before: float
    after: float
    uncertainty: float
    """Expanded uncertainty of the difference: root of the sum of squares, as if the two readings shared no error. What
    they do share (the reference tape, the interface) cancels, so the difference is known a little better than this."""
    target: float | None
    lot: str = ""
    """Of which of several tapes."""

    @property
    def by(self) -> float:
        """After minus before."""
        return self.after - self.before

    @property
    def shows(self) -> bool:
        """Whether it exceeds the uncertainty."""
        return abs(self.by) > self.uncertainty


def comparable(record: ReadingRecord) -> Key:
    """What two readings must share to be compared: what was replayed, quantity, channel, tone, method, reference."""
    r = record.reading
    hz = None if QUANTITIES[r.quantity].frequency == "found" or r.method.every_s is not None else r.frequency_hz
    tone = (hz, record.sent_db, record.lot, record.noise_reduction, record.direction)
    return (record.source, r.quantity, r.channel, *tone, str(method_of(r)), str(r.reference), r.unit)


def method_of(reading: Result) -> Method:
    """What readings by the same method share. Of flutter components, not the period: it is what was found."""
    return replace(reading.method.kind, every_s=None, part=None, per_turn=None)


def changes(records: tuple[ReadingRecord, ...], before: Stage, after: Stage) -> list[Change]:
    """Every quantity that has a value at both stages; from several readings at a stage the last one."""
    stages: dict[Stage, dict[Key, ReadingRecord]] = {before: {}, after: {}}
    for record in records:
        if record.stage in stages and record.measured is not None and not record.measured.bound:
            stages[record.stage][comparable(record)] = record
    out = []
    for key, old in stages[before].items():
        new = stages[after].get(key)
        r, was = new.measured if new else None, old.measured
        if new is None or r is None or was is None:
            continue
        target = new.verdict.target if new.verdict else None
        out.append(
            Change(
                r.quantity,
                r.unit,
                new.source,
                r.channel,
                r.frequency_hz,
                was.value,
                r.value,
                math.hypot(was.uncertainty, r.uncertainty),
                target,
                new.lot,
            )
        )
    return out


def cleaning_sentence(records: tuple[ReadingRecord, ...], *, adjusted: bool = True) -> str:
    """What cleaning restored: from before cleaning to after it.

    Args:
        records: records of the session.
        adjusted: whether a trimmer was turned; if not, readings as left also count as after cleaning.
    """
    stages = {r.stage for r in records if r.measured is not None}
    as_left = not adjusted and "left" in stages and "found-clean" not in stages
    return _sentence("cleaning", records, "found-dirty", "left" if as_left else "found-clean")


def line_up_sentence(records: tuple[ReadingRecord, ...]) -> str:
    """What the line-up restored: from after cleaning to as left."""
    return _sentence("the line-up", records, "found-clean", "left")


def _sentence(
    work: Literal["cleaning", "the line-up"], records: tuple[ReadingRecord, ...], before: Stage, after: Stage
) -> str:
    found = changes(records, before, after)
    treble = [
        c for c in found if c.quantity == "response" and c.frequency_hz is not None and c.frequency_hz >= TREBLE_FROM_HZ
    ]
    level = [c for c in found if c.quantity in {"level", "record_replay_level"}]
    if not treble and not level:
        return f"What {work} gave back is not known, because {_because(records, before, after)}."
    measured = [_part(work, name, here) for name, here in (("treble", treble), ("level", level)) if here]
    if all(part.startswith(GAVE_BACK) for part in measured):
        measured[1:] = [part.removeprefix(GAVE_BACK) for part in measured[1:]]
    said = f"{work.capitalize()} {', and '.join(measured)}"
    unknown = "" if treble and level else "level" if treble else "treble"
    if unknown:
        because = f"no {unknown} was measured both before and after"
        said += f"; what it did to the {unknown} is not known, because {because}"
    return f"{said}."


def _part(work: str, name: str, found: list[Change]) -> str:
    most = max(found, key=lambda c: abs(c.by))
    at = f" at {hertz(most.frequency_hz)}" if name == "treble" and most.frequency_hz else ""
    by = with_unit(with_uncertainty(abs(most.by), "dB", most.uncertainty), "dB").replace(" ", NO_BREAK)
    of = f"{CHANNELS[most.channel]}, {most.lot}" if most.lot else CHANNELS[most.channel]
    detail = f"{most.source}, {of}: from {figure(most.before, most.unit, most.uncertainty)}"
    detail += f" to {figure(most.after, most.unit, most.uncertainty)} {most.unit}"
    if not most.shows:
        return f"left the {name} where it was ({by}{at} at most, no more than its uncertainty)"
    if work == "cleaning":
        # Dirt costs treble and level, so a higher value afterwards was restored.
        verb = GAVE_BACK if most.by > 0 else "took away "
        return f"{verb}{by} of {name}{at} ({detail})"
    if most.target is not None:
        detail += f", target {as_given(most.target)}"
    verb = "raised" if most.by > 0 else "lowered"
    return f"{verb} the {name}{at} by {by} ({detail})"


def _because(records: tuple[ReadingRecord, ...], before: Stage, after: Stage) -> str:
    missing = [
        short_stage(STAGES[s])
        for s in (before, after)
        if not any(r.stage == s and r.measured is not None for r in records)
    ]
    if missing:
        return f"there is no reading {listed(missing)}"
    return "no treble and no level was measured in the same way both before and after"
