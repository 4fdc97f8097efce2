"""Readings made several times count once, since what is wrong in the model is wrong in each of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from bench.diagnosis.rows import Place
from bench.words.figures import number

APART, LEAST = 8.0, 1.0
"""So many standard deviations apart, and at least so much, two readings can't both be true."""


def once(places: Sequence[Place]) -> tuple[list[Place], tuple[str, ...]]:
    """Each thing once, and in words the readings that can't both be true.

    As found the mean counts; as left the last, because what was read before may have been adjusted since.
    """
    groups: dict[object, list[Place]] = {}
    for p in places:
        groups.setdefault((p.finding.channel, _subject(p)), []).append(p)
    out, told = [], []
    for some in groups.values():
        last = some[-1]
        if last.finding.stage == "as-left":
            out.append(last)
            continue
        low, high = min(some, key=lambda p: p.value), max(some, key=lambda p: p.value)
        apart = high.value - low.value
        if apart > max(LEAST, APART * math.hypot(last.scatter, low.stated, high.stated)):
            told.append(_told(low, high))
        mean = sum(p.value for p in some) / len(some)
        out.append(replace(last, value=mean, scatter=math.hypot(last.scatter, apart / 2)))
    kept, between = _with_each_channel(out)
    return kept, (*told, *between)


def _subject(p: Place) -> tuple[object, ...]:
    """What a reading is of, apart from the channel."""
    f = p.finding
    return f.stage, f.source, f.quantity, f.frequency_hz, f.sent_db, f.method, f.driven, f.reference_hz


def _with_each_channel(places: Sequence[Place]) -> tuple[list[Place], list[str]]:
    """Tones of both channels together are left out where each channel says otherwise, and this in words."""
    of_one = {(p.finding.channel, _subject(p)): p for p in places if p.tone}
    kept, told = [], []
    for p in places:
        left, right = (of_one.get((channel, _subject(p))) for channel in ("left", "right"))
        if p.tone and p.finding.channel == "both" and left and right:
            beyond = p.value - left.value, p.value - right.value
            limit = max(LEAST, APART * math.hypot(left.scatter, right.scatter, p.stated))
            if min(beyond) > limit or max(beyond) < -limit:
                told.append(_told(left, p))
                continue
        kept.append(p)
    return kept, told


def _told(one: Place, other: Place) -> str:
    a, b = one.finding, other.finding
    low, high = (number(f.value or 0.0, 2) for f in (a, b))
    return f"{a.id} and {b.id} are of the same thing, and read {low} and {high} {a.unit}: they can't both be true"
