"""Merges repeated readings into one, because an error of the model is the same in each of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from bench.diagnosis.rows import DataRow
from bench.figures import number

APART, LEAST = 8.0, 1.0
"""Two readings contradict each other if they differ by this many standard deviations and by at least this much."""


def merge_repeats(data_rows: Sequence[DataRow]) -> tuple[list[DataRow], tuple[str, ...]]:
    """Each reading once, and a sentence for each pair that contradicts.

    As found, the mean counts; as left, the last, because the machine may have been adjusted between readings.
    """
    groups: dict[object, list[DataRow]] = {}
    for p in data_rows:
        groups.setdefault((p.finding.channel, _subject(p)), []).append(p)
    out, contradictions = [], []
    for some in groups.values():
        last = some[-1]
        if last.finding.stage == "as-left":
            out.append(last)
            continue
        low, high = min(some, key=lambda p: p.value), max(some, key=lambda p: p.value)
        apart = high.value - low.value
        if apart > max(LEAST, APART * math.hypot(last.scatter, low.stated, high.stated)):
            contradictions.append(_sentence(low, high))
        mean = sum(p.value for p in some) / len(some)
        out.append(replace(last, value=mean, scatter=math.hypot(last.scatter, apart / 2)))
    kept, between = _with_each_channel(out)
    return kept, (*contradictions, *between)


def _subject(p: DataRow) -> tuple[object, ...]:
    """Everything that identifies a reading, except its channel."""
    f = p.finding
    return f.stage, f.source, f.quantity, f.frequency_hz, f.sent_db, f.method, f.driven, f.reference_hz


def _with_each_channel(data_rows: Sequence[DataRow]) -> tuple[list[DataRow], list[str]]:
    """The rows without tones of both channels that contradict each channel, and a sentence for each of these tones."""
    of_one = {(p.finding.channel, _subject(p)): p for p in data_rows if p.tone}
    kept, contradictions = [], []
    for p in data_rows:
        left, right = (of_one.get((channel, _subject(p))) for channel in ("left", "right"))
        if p.tone and p.finding.channel == "both" and left and right:
            beyond = p.value - left.value, p.value - right.value
            limit = max(LEAST, APART * math.hypot(left.scatter, right.scatter, p.stated))
            if min(beyond) > limit or max(beyond) < -limit:
                contradictions.append(_sentence(left, p))
                continue
        kept.append(p)
    return kept, contradictions


def _sentence(one: DataRow, other: DataRow) -> str:
    a, b = one.finding, other.finding
    low, high = (number(f.value or 0.0, 2) for f in (a, b))
    return f"{a.id} and {b.id} are of the same thing, and read {low} and {high} {a.unit}: they can't both be true"
