"""The readings so far that describe the machine from record to replay."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bench.measure.reading import Channel, Reading
from bench.measure.stage import Stage
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.outcome import last_attempts

LATEST_FIRST: tuple[Stage, ...] = ("left", "found-clean", "found-dirty")


@dataclass(frozen=True, slots=True)
class RecordToReplay:
    """Levels and responses from record to replay."""

    stage: Stage
    level_sent_db: float
    response_sent_db: float | None
    """None when no response was measured."""
    readings: tuple[Reading, ...]


def record_to_replay(records: Sequence[ReadingRecord], direction: str = "") -> RecordToReplay | None:
    """Level and response of each channel, as left or at the latest stage that was measured; None without a level.

    The lowest level sent counts, because tape saturates at high levels, and of responses the one with the most tones,
    because an adjustment reads a single one. Of several readings of one tone the last one counts; of several tapes, the
    first. `bench.measure.quantities.mistracking` accepts `readings` as they are.

    Args:
        records: records of a session.
        direction: direction of the tape, "reverse" or "" for forward.
    """
    usable = [
        r
        for r in last_attempts(tuple(records))
        if r.source == "record-replay"
        and r.noise_reduction == "off"
        and r.direction == direction
        and r.sent_db is not None
        and r.measured is not None
    ]
    usable = [r for r in usable if r.lot == usable[0].lot]
    for stage in LATEST_FIRST:
        levels = _at_one_level([r for r in usable if r.stage == stage and r.reading.quantity == "record_replay_level"])
        responses = _at_one_level([r for r in usable if r.stage == stage and r.reading.quantity == "response"])
        if levels:
            return RecordToReplay(
                stage,
                levels[0].sent_db or 0.0,
                responses[0].sent_db if responses else None,
                tuple(r.measured for r in (*levels, *responses) if r.measured is not None),
            )
    return None


def _at_one_level(records: list[ReadingRecord]) -> list[ReadingRecord]:
    """The records of the level with the most tones, or the lowest of several; the last one of each channel and tone."""
    by_level: dict[float, dict[tuple[Channel, float | None], ReadingRecord]] = {}
    for r in records:
        by_level.setdefault(r.sent_db or 0.0, {})[r.reading.channel, r.reading.frequency_hz] = r
    best = min(by_level, key=lambda db: (-len({hz for _, hz in by_level[db]}), db), default=None)
    return [] if best is None else list(by_level[best].values())
