"""Which of a session's readings describe the machine from record to replay."""

from __future__ import annotations

from datetime import UTC, datetime

from bench.measure.quantities.mistracking import mistracking
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.record_to_replay import record_to_replay
from tests.results import a_reading, result


def record(step: str, quantity: str, value: float, sent_db: float, hz: float = 400.0) -> ReadingRecord:
    reading = result(quantity, "left", value, 0.1, frequency_hz=hz)
    now = datetime(2026, 6, 1, tzinfo=UTC)
    return ReadingRecord(f"{step}-{hz:g}", step, "left", True, "record-replay", reading, None, now, sent_db)


LEVEL = record("level", "record_replay_level", 0.1, -20.0)
COMPRESSED = record("compression", "record_replay_level", -1.5, 0.0)
RESPONSE = [record("check", "response", value, -20.0, hz) for hz, value in ((4000.0, 1.9), (12500.0, -0.3))]
TREBLE = record("record-equalisation", "response", -0.2, -30.0, 12500.0)
"""Two tones are recorded together to set record equalisation, the high one at a lower level."""


def test_one_tone_of_an_adjustment_does_not_replace_a_response() -> None:
    for records in ([LEVEL, TREBLE, *RESPONSE, COMPRESSED], [LEVEL, *RESPONSE, TREBLE]):
        found = record_to_replay(records)
        assert found is not None
        assert (found.level_sent_db, found.response_sent_db) == (-20.0, -20.0)
        assert [(r.frequency_hz, r.value) for r in found.readings] == [(400.0, 0.1), (4000.0, 1.9), (12500.0, -0.3)]
        heard, _ = mistracking(found.readings).readings
        assert a_reading(heard).value > 2.0


def test_the_only_tone_there_is_counts() -> None:
    found = record_to_replay([LEVEL, TREBLE])
    assert found is not None
    assert found.response_sent_db == -30.0
