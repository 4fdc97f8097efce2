"""As-found readings of a step's tones, shown beside the current ones."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, Literal

from bench.measure.reading import Channel
from bench.measure.stage import Stage
from bench.measure.verdict import Verdict
from bench.procedure.model.steps import RecordReplay, Reference, SentTone
from bench.procedure.state.as_found import AsFound
from bench.procedure.state.journal import ReadingRecord
from tests.results import result

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
PLAY = Reference(kind="reference", id="play", title="Play", do="Play.", targets={"response": "machine.replay_response"})
CHECK = RecordReplay(
    kind="record-replay",
    id="check",
    title="Check",
    do="Record.",
    sends=(SentTone(hz=400.0, db=-20.0), SentTone(hz=10000.0, db=-20.0)),
    reference_hz=400.0,
    targets={"response": "machine.record_response"},
)


class Kept:
    """A journal with these records."""

    def __init__(self, *records: ReadingRecord) -> None:
        self._records = records

    def records(self) -> tuple[ReadingRecord, ...]:
        return self._records

    def __getattr__(self, name: str) -> Any:
        raise AssertionError(name)


def record(
    hz: float,
    value: float | None,
    *,
    stage: Stage = "found-clean",
    source: Literal["reference tape", "record-replay"] = "reference tape",
    quantity: str = "response",
    channel: Channel = "left",
    sent: float | None = None,
    target: float = 0.0,
) -> ReadingRecord:
    reading = result(quantity, channel, value, frequency_hz=hz)
    return ReadingRecord("r", "s", stage, False, source, reading, Verdict(word="out", target=target), NOON, sent)


def points(step: Reference | RecordReplay, *records: ReadingRecord) -> list[tuple[float, float, str]]:
    return [(p.frequency_hz, p.off, p.stage) for p in AsFound(Kept(*records)).points(step)]


def test_the_latest_found_stage_counts_and_what_is_left_does_not() -> None:
    found = (
        record(1000.0, -1.0, stage="found-dirty"),
        record(1000.0, -0.5),
        record(10000.0, -6.0, stage="found-dirty"),
        record(10000.0, 0.2, stage="left"),
    )
    assert points(PLAY, *found) == [(1000.0, -0.5, "found-clean"), (10000.0, -6.0, "found-dirty")]


def test_off_its_target_and_never_a_tone_without_a_reading() -> None:
    found = (record(1000.0, -1.0, target=0.5), record(2000.0, None), record(4000.0, 2.0))
    assert points(PLAY, *found) == [(1000.0, -1.5, "found-clean"), (4000.0, 2.0, "found-clean")]


def test_only_what_was_heard_in_the_same_way_and_sent_at_the_same_level() -> None:
    found = (
        record(400.0, 0.1, source="record-replay", sent=-20.0),
        record(10000.0, -3.0, source="record-replay", sent=-20.0),
        record(10000.0, -9.0, source="record-replay", sent=0.0),
        record(10000.0, -5.0),
    )
    assert points(CHECK, *found) == [(400.0, 0.1, "found-clean"), (10000.0, -3.0, "found-clean")]


def test_levels_where_there_is_no_response_and_nothing_of_one_tone_alone() -> None:
    levels = (record(400.0, -12.0, quantity="level", target=-12.5), record(315.0, -12.0, quantity="level"))
    assert points(PLAY, *levels) == [(315.0, -12.0, "found-clean"), (400.0, 0.5, "found-clean")]
    assert points(PLAY, record(400.0, -12.0)) == []


def test_none_at_a_found_stage_itself() -> None:
    found = (record(1000.0, -1.0, stage="found-dirty"), record(10000.0, -6.0, stage="found-dirty"))
    assert points(PLAY.model_copy(update={"stage": "found-clean"}), *found) == []
