"""The rival of a cause: what its readings can be taken for, and the test that tells the two apart.

Faults have theirs in the diagnosis; those of trimmers, and tests where the diagnosis names no look, are common
practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from bench.diagnosis.causes.cause import Cause as Page
from bench.diagnosis.causes.table import CAUSES
from bench.training.causes import Cause

PAGES: tuple[tuple[str, str], ...] = (
    ("replay_dirt_", "dirt-replay-head"),
    ("record_dirt_", "dirt-record-head"),
    ("replay_gap_", "worn-replay-gap"),
    ("erase_db", "weak-erasure"),
    ("amplifier_noise_", "amplifier-noise"),
    ("magnetised", "magnetised-head"),
    ("encoder_", "encoder"),
    ("decoder_", "decoder"),
    ("tape_selector", "tape-selector"),
    ("other_tape", "tape-of-another-type"),
)
"""Figures of the machine by their first letters, and the page of the diagnosis."""

TESTS = {
    "dirty-erase-head": "measure erasure before and after cleaning",
    "weak-erasure": "measure erasure before and after cleaning",
    "amplifier-noise": "stop the tape: does the noise stay?",
    "magnetised-head": "read the second harmonic before and after demagnetising",
    "encoder": "record with noise reduction in and replay with it out",
    "decoder": "record with noise reduction out and replay with it in",
}

OF_TRIMMERS: tuple[tuple[str, str, str], ...] = (
    ("replay_azimuth", "dirt on the replay head", "read the delay between the channels at three tones"),
    ("record_azimuth", "dirt on the record head", "record three tones, and read the delay between the channels"),
    ("replay_equalisation_", "dirt on the replay head", "clean the head, and read the treble again"),
    ("replay_level_", "output control off its mark", "look at the output control"),
    ("record_level_", "a tape of another type", "read the box of the tape"),
    ("record_equalisation_", "bias out of adjustment", "read the third harmonic at the reference level"),
    ("bias_", "record equalisation out of adjustment", "read the third harmonic at the reference level"),
    ("speed_percent", "motor made for another mains frequency", "compare the error with 20 per cent"),
)


@dataclass(frozen=True, slots=True)
class Rival:
    """What a cause can be taken for."""

    name: str
    """"dirt on the record head"."""
    test: str
    """What tells the two apart."""


def page_of(cause: Cause) -> Page | None:
    """The page of the diagnosis on a cause."""
    name = next((page for first, page in PAGES for figure in cause.figures if figure.startswith(first)), "")
    if name == "weak-erasure" and "clean" in cause.mended_by:
        name = "dirty-erase-head"
    return next((page for page in CAUSES if page.name == name), None)


def rival_of(cause: Cause) -> Rival | None:
    """The rival of a cause; None where nothing reads like it."""
    for first, name, test in OF_TRIMMERS:
        if any(figure.startswith(first) for figure in cause.figures):
            return Rival(name, test)
    page = page_of(cause)
    if page is None or not page.like:
        return None
    other = next(p for p in CAUSES if p.name == page.like[0])
    return Rival(other.title, TESTS.get(page.name) or page.look or other.look)
