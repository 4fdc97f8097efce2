"""Whether a debrief contradicts a reading that the trainee saw, reading by reading, from the session alone.

What each cause changes is stated here independently of the program: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.exercise_events import Debriefed, FaultOutcome, TrimmerOutcome
from bench.procedure.state.journal import ReadingRecord
from bench.session.record.record import SessionRecord

LEVEL, TREBLE, DELAY = "level", "response", "azimuth_delay"
CHANGES: dict[str, set[str]] = {
    "dirt": {LEVEL, TREBLE},
    "worn replay gap": {TREBLE},
    "switched to": {LEVEL, TREBLE},
    "replay equalisation": {LEVEL, TREBLE},
    "record equalisation": {TREBLE},
    "azimuth": {TREBLE, DELAY},
    "level": {LEVEL},
    "head too high": {LEVEL},
    "dead channel": {LEVEL, TREBLE, DELAY},
    "inverted": {DELAY, "polarity"},
    "head bump": {LEVEL, TREBLE},
    "magnetised": {TREBLE},
    "bias": {LEVEL, TREBLE},
    "tape": {LEVEL, TREBLE},
    "pinch roller": {DELAY},
}
SAME_AS = {"record_replay_level": LEVEL}
REPLAY_TOO = ("replay", "dirt on one side", "head bump", "dead", "inverted", "magnetised", "pinch")
"""Causes that show in a recording as well as on the reference tape; the others belong to the record side."""


def explains(cause: str, record: ReadingRecord) -> bool:
    """Whether a cause, by its name, changes what a reading shows."""
    name = cause.casefold()
    if record.source == "reference tape" and not any(word in name for word in REPLAY_TOO):
        return False
    quantity = SAME_AS.get(record.reading.quantity, record.reading.quantity)
    return any(quantity in changed for words, changed in CHANGES.items() if words in name)


def contradictions(session: SessionRecord) -> Iterator[str]:
    """A sentence for each contradiction between the debrief and a reading."""
    told = next(of_kind(session.events, Debriefed))
    hidden = [f.name for f in told.faults]
    suspects = [*hidden, *(t.name for t in told.trimmers if not t.right)]
    for r in session.readings:
        if r.verdict is not None and r.verdict.word == "out" and not any(explains(name, r) for name in suspects):
            yield f"{r.id} {r.step} is out, and nothing that was hidden explains it: {r.reading}"
    last = {(r.source, r.reading.quantity, r.reading.channel, r.reading.frequency_hz): r for r in session.readings}
    for r in last.values():
        if r.verdict is not None and r.verdict.word == "out" and not explained_at_the_end(r, told):
            yield f"{r.id} {r.step} is out at the end, and the debrief calls all that explains it mended: {r.reading}"
    for t in told.trimmers:
        yield from _trimmer(t, session, told.faults)


def explained_at_the_end(record: ReadingRecord, told: Debriefed) -> bool:
    """Whether something that is still there, according to the debrief, explains a reading."""
    left = [f.name for f in told.faults if f.state != "mended"] + [t.name for t in told.trimmers if not t.right]
    return any(explains(name, record) for name in left)


def _trimmer(t: TrimmerOutcome, session: SessionRecord, faults: tuple[FaultOutcome, ...]) -> Iterator[str]:
    """Compare the last reading of the last step that adjusts a trimmer with the debrief on that trimmer."""
    side = next((s for s in ("left", "right") if t.name.endswith(s)), "both")
    kind = t.name.removesuffix(f" {side}").replace(" ", "-")
    own = [
        r
        for r in session.readings
        if FINEST.get(kind) == r.step.rpartition("/")[2] and side in (r.reading.channel, "both")
    ]
    if not own or own[-1].verdict is None:
        return
    word = own[-1].verdict.word
    present = any(f.state != "mended" and explains(f.name, own[-1]) for f in faults)
    if word == "in" and not t.right and not t.hides:
        yield f"{t.name} is called out of adjustment, and its reading is in: {own[-1].reading}"
    if word == "out" and t.right and not present:
        yield f"{t.name} is called right, and its reading is out: {own[-1].reading}"


FINEST = {"replay-azimuth": "azimuth-high", "replay-level": "level-again", "replay-equalisation": "equalisation"}
"""The step of the exercise at which each kind of trimmer is judged last."""
