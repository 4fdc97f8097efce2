"""Which part of the signal path around noise reduction is wrong, as shown by the readings of a session.

Line input, record level control, encoder, record amplifier, tape, replay amplifier, decoder: each has a reading that
the others do not move. The source at the output shows the control, the tape relative to the source the record level,
the reference tape the replay level, and the two curves the circuits themselves, each relative to the level that it
received. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from bench.figures import number
from bench.measure.reading import Channel, Reading
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.outcome import last_attempts
from bench.words.sentences import listed

Side = Literal["record level control", "encoder", "record level", "replay level", "decoder"]

_SHOWN_BY: Mapping[str, Side] = {
    "source_level": "record level control",
    "encoding_error": "encoder",
    "record_replay_level": "record level",
    "level": "replay level",
    "decoding_error": "decoder",
}

REMEDIES: Mapping[Side, str] = {
    "record level control": "set the knob; leave the record level trimmer alone",
    "encoder": "the encoder needs repair, and tapes recorded with it keep the fault",
    "record level": "set the record level trimmer",
    "replay level": "set the replay level trimmer by the reference tape",
    "decoder": "the decoder needs repair; tapes recorded here are right",
}


@dataclass(frozen=True, slots=True)
class WrongSide:
    """A part of the signal path that is wrong in a channel."""

    side: Side
    channel: Channel
    off_db: float
    """The largest error that shows it, with its sign."""


def wrong_sides(records: Sequence[ReadingRecord]) -> tuple[WrongSide, ...]:
    """What the last as-left readings show to be wrong, in the order of the signal path; each channel once."""
    worst: dict[tuple[Side, Channel], float] = {}
    for record in last_attempts(_latest(records)):
        reading, off = record.measured, record.off
        if reading is None or off is None or record.verdict is None or record.verdict.word != "out":
            continue
        key = (_SHOWN_BY[reading.quantity], reading.channel)
        worst[key] = max(worst.get(key, 0.0), off, key=abs)
    order = list(_SHOWN_BY.values())
    return tuple(WrongSide(*key, worst[key]) for key in sorted(worst, key=lambda k: (order.index(k[0]), k[1])))


def _latest(records: Sequence[ReadingRecord]) -> tuple[ReadingRecord, ...]:
    """The last reading of each subject, so that a part that was put right in the meantime is not blamed."""
    last: dict[tuple[str, str, Channel, float | None, float | None], ReadingRecord] = {}
    for record in records:
        reading = record.reading
        if record.stage != "left" or not _shows_one_part(record):
            continue
        if isinstance(reading, Reading) and reading.quantity in ("source_level", "record_replay_level", "level"):
            last[record.lot, reading.quantity, reading.channel, None, None] = record
        else:
            last[record.lot, reading.quantity, reading.channel, reading.frequency_hz, record.sent_db] = record
    return tuple(last.values())


def _shows_one_part(record: ReadingRecord) -> bool:
    """Whether a reading shows one part alone: levels only with noise reduction out, and judged."""
    quantity = record.reading.quantity
    if quantity not in _SHOWN_BY or record.verdict is None:
        return False
    if quantity == "level":
        return record.source == "reference tape"
    return quantity.endswith("coding_error") or record.noise_reduction == "off"


def sides_sentence(wrong: Sequence[WrongSide]) -> str:
    """One sentence for each wrong part: "The encoder is wrong: left −2.4 dB; the encoder needs repair, …"."""
    if not wrong:
        return (
            "Source, record level and replay level show nothing wrong: measure encoder and decoder apart, "
            "with noise-reduction-itself."
        )
    parts = []
    for side in dict.fromkeys(w.side for w in wrong):
        where = listed([f"{w.channel} {number(w.off_db, 1, sign=True)} dB" for w in wrong if w.side == side])
        parts.append(f"The {side} is wrong: {where}; {REMEDIES[side]}.")
    return " ".join(parts)
