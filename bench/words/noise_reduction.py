"""Which part of the signal path around noise reduction is wrong, and what to do about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from bench.words.figures import number
from bench.words.sentences import listed

if TYPE_CHECKING:
    from bench.procedure.state.noise_reduction_sides import Side, WrongSide

REMEDIES: Mapping[Side, str] = {
    "record level control": "set the knob; leave the record level trimmer alone",
    "encoder": "the encoder needs repair, and tapes recorded with it keep the fault",
    "record level": "set the record level trimmer",
    "replay level": "set the replay level trimmer by the reference tape",
    "decoder": "the decoder needs repair; tapes recorded here are right",
}


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
