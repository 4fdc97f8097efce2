"""What an error of level and treble means for music, in a sentence."""

from __future__ import annotations

import numpy as np
import pytest

from bench.tape.mistracking_map import MistrackingMap, ReplayErrors, Verdict, mistracking_map
from bench.words.mistracking import cause_text, music_sentence, music_sentences

LOST = "−17.9 dB at 10 kHz at −18 dB (−10 dB of response error and −7.9 dB of mistracking)"

LEVEL = "the level that comes back is"


def test_lost_treble_is_duller() -> None:
    found = mistracking_map("type-b", ReplayErrors(0.0, ((10000.0, -10.0),)))
    because = "because the treble is 10 dB low at 10 kHz"
    assert music_sentence(found) == f"music will sound dull: {LOST}, {because}"
    assert music_sentence(found, past=True) == (
        f"music would have sounded dull: {LOST}, because the treble was 10 dB low at 10 kHz"
    )


def test_a_right_machine_changes_nothing() -> None:
    assert music_sentence(mistracking_map("type-a", ReplayErrors())) == (
        "music will sound as it was recorded, because level and treble come back as they were recorded"
    )


def made(worst_db: float, worst_hz: float, verdict: Verdict = "out", errors: ReplayErrors | None = None) -> str:
    """What a map with this worst point says."""
    errors, nowhere = errors or ReplayErrors(worst_db), np.zeros((1, 1))
    found = MistrackingMap(
        "type-b", errors, nowhere, nowhere, -18.0, worst_hz, worst_db, worst_db, 0.1, 0.1, 3.0, verdict
    )
    return music_sentence(found)


@pytest.mark.parametrize(
    ("worst_db", "worst_hz", "said"),
    [
        (-4.0, 10000.0, "music will sound dull: −4 dB at 10 kHz at −18 dB"),
        (-0.5, 10000.0, "music will sound dull: −0.5 dB at 10 kHz"),
        (0.5, 10000.0, "music will sound over-bright: +0.5 dB at 10 kHz"),
        (3.5, 1250.0, "music will sound over-bright: +3.5 dB at 1.25 kHz"),
        (3.0, 1000.0, "music will sound over-bright: +3 dB at 1 kHz"),
        (-3.1, 63.0, "music will sound thin: −3.1 dB at 63 Hz"),
        (3.1, 315.0, "music will sound boomy: +3.1 dB at 315 Hz"),
        (-3.1, 630.0, "music will sound dull: −3.1 dB at 630 Hz"),
    ],
)
def test_what_it_does_to_music_is_said_by_side_and_frequency(worst_db: float, worst_hz: float, said: str) -> None:
    assert made(worst_db, worst_hz).startswith(said)


def test_the_verdict_is_in_the_sentence() -> None:
    assert made(-2.0, 8000.0, "in") == (
        "music will sound right: at worst −2 dB at 8 kHz at −18 dB (−2 dB of mistracking; response is taken as right), "
        "because the level that comes back is 2 dB low; inside ±3 dB"
    )
    assert made(-3.1, 8000.0, "too close to call").endswith(
        "; the readings are too uncertain to say whether that is in or out"
    )
    assert made(-3.1, 8000.0).endswith("because the level that comes back is 3.1 dB low")


@pytest.mark.parametrize(
    ("errors", "because"),
    [
        # The greatest on the side of the worst, not the one of the highest tone.
        (ReplayErrors(0.0, ((4000.0, -6.0), (10000.0, -2.0))), "the treble is 6 dB low at 4 kHz"),
        (ReplayErrors(0.0, ((10000.0, -2.0), (4000.0, -6.0))), "the treble is 6 dB low at 4 kHz"),
        (ReplayErrors(0.0, ((10000.0, -0.3), (4000.0, 6.0))), "the treble is 0.3 dB low at 10 kHz"),
        (ReplayErrors(-0.04, ((63.0, -5.0), (4000.0, -0.04))), "the bass is 5 dB low at 63 Hz"),
        (ReplayErrors(-0.3, ((63.0, 5.0),)), f"{LEVEL} 0.3 dB low"),
        # A tenth of a dB of level does not explain 8 dB of treble.
        (ReplayErrors(-0.1, ((12500.0, -8.4),)), "the treble is 8.4 dB low at 12.5 kHz"),
        (ReplayErrors(-2.25, ((1000.0, -1.0),)), f"{LEVEL} 2.2 dB low and the treble is 1 dB low at 1 kHz"),
        # All that is known, where nothing is on its side.
        (ReplayErrors(2.0, ((1000.0, 1.0),)), f"{LEVEL} 2 dB high and the treble is 1 dB high at 1 kHz"),
        (ReplayErrors(-0.04), "level and treble come back as they were recorded"),
    ],
)
def test_the_cause_is_what_pulls_the_same_way(errors: ReplayErrors, because: str) -> None:
    assert made(-4.0, 8000.0, errors=errors).endswith(f", because {because}")


def test_too_loud_is_over_bright_and_both_causes_are_named() -> None:
    found = mistracking_map("type-b", ReplayErrors(2.0, ((10000.0, 4.0), (63.0, -5.0)), channel="left"))
    assert music_sentence(found).startswith("music will sound over-bright: +")
    assert cause_text(found) == (f"{LEVEL} 2 dB high and the treble is 4 dB high at 10 kHz in the left channel")


def test_a_cause_that_would_help_is_not_blamed() -> None:
    found = mistracking_map("type-b", ReplayErrors(1.0, ((10000.0, -9.0),)))
    assert cause_text(found) == "the treble is 9 dB low at 10 kHz"


def test_two_channels_are_named() -> None:
    right = mistracking_map("type-b", ReplayErrors())
    assert music_sentences({"mono": right}).startswith("music will")
    assert music_sentences({"left": right, "right": right}).count(": music will") == 2
