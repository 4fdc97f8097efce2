"""What music sounds like through a noise-reduction decoder when level and response are wrong, and why."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from bench.figures import as_given, hertz, number
from bench.measure.reading import Channel
from bench.words.figures import decibels

if TYPE_CHECKING:
    from bench.tape.mistracking_map import MistrackingMap, ReplayErrors

NEGLIGIBLE_DB = 0.05
"""Smaller parts of an error are not named."""
LEAST_SHARE = 0.1
"""A part smaller than this, compared with the largest, is no cause. A choice."""


def music_sentence(found: MistrackingMap, *, past: bool = False) -> str:
    """The effect on music, and why: "music will sound dull: −17.9 dB at 10 kHz at −18 dB (−10 dB of …), because …".

    Args:
        found: what is heard over levels and frequencies.
        past: whether to describe the machine as it was when it came in.
    """
    sounds = "would have sounded" if past else "will sound"
    cause = cause_text(found, past=past)
    where = (
        f"{_signed(found.worst_db)} dB at {hertz(found.worst_hz)} at {decibels(found.worst_level_db)}{_parts(found)}"
    )
    if abs(found.worst_db) < NEGLIGIBLE_DB:
        return f"music {sounds} as it was recorded, because {cause}"
    if found.verdict == "in":
        inside = f"inside ±{as_given(found.tolerance_db)} dB"
        return f"music {sounds} right: at worst {where}, because {cause}; {inside}"
    doubt = "" if found.verdict == "out" else "; the readings are too uncertain to say whether that is in or out"
    return f"music {sounds} {_how(found)}: {where}, because {cause}{doubt}"


def music_sentences(maps: Mapping[Channel, MistrackingMap]) -> str:
    """The sentence for each channel, which is named where there are two."""
    return ". ".join(
        f"{c.capitalize()}: {music_sentence(m)}" if c != "mono" else music_sentence(m) for c, m in maps.items()
    )


def cause_text(found: MistrackingMap, *, past: bool = False) -> str:
    """The errors on the same side as the worst point; all of them where none is on that side."""
    errors, worst_db = found.errors, found.worst_db
    verb, comes = ("was", "came") if past else ("is", "comes")
    parts = []
    if abs(errors.level_db) >= NEGLIGIBLE_DB:
        parts.append((errors.level_db, f"the level that {comes} back {verb} {_off(errors.level_db)}"))
    audible = [p for p in errors.treble if abs(p[1]) >= NEGLIGIBLE_DB]
    same_side = [p for p in audible if p[1] * worst_db > 0]
    if audible:
        hz, db = max(same_side or audible, key=lambda p: abs(p[1]))
        band = "treble" if hz > errors.reference_hz else "bass"
        parts.append((db, f"the {band} {verb} {_off(db)} at {hertz(hz)}"))
    parts = [(db, said) for db, said in parts if db * worst_db > 0] or parts
    least = LEAST_SHARE * max((abs(db) for db, _ in parts), default=0.0)
    blamed = [said for db, said in parts if abs(db) >= least]
    if not blamed:
        return f"level and treble {'came' if past else 'come'} back as they were recorded"
    return " and ".join(blamed) + _where(errors)


def _parts(found: MistrackingMap) -> str:
    """The two parts of what is heard at the worst point."""
    response, mistracking = found.worst_response_db, found.worst_mistracking_db
    if not found.errors.treble:
        return f" ({_signed(mistracking)} dB of mistracking; response is taken as right)"
    return f" ({_signed(response)} dB of response error and {_signed(mistracking)} dB of mistracking)"


def _how(found: MistrackingMap) -> str:
    low = found.worst_db < 0
    if found.worst_hz < 500:
        return "thin" if low else "boomy"
    return "dull" if low else "over-bright"


def _where(errors: ReplayErrors) -> str:
    return f" in the {errors.channel} channel" if errors.channel else ""


def _off(db: float) -> str:
    return f"{as_given(round(abs(db), 1))} dB {'low' if db < 0 else 'high'}"


def _signed(db: float) -> str:
    rounded = round(db, 1)
    return number(rounded, 1 if rounded % 1 else 0, sign=bool(rounded))
