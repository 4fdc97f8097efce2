"""A tape of a machine out of adjustment, replayed on a correct one: decoded with its errors corrected, and without."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from bench.practice.music_replay import delay_frames
from bench.signals.demo_music import demo_music
from bench.transfer.errors import ChannelErrors, TransferErrors
from bench.transfer.stages import through
from bench.transfer.transfer import Transfer
from tests.transfer.programme import blocks, octave_levels, pink_bursts, tone_levels, tones
from tests.transfer.wrong_machines import RATE, OwnModel, PracticeModel, drawn

NOTHING = TransferErrors((ChannelErrors(), ChannelErrors()))
REFERENCE_DBFS = -13.2
"""200 nWb/m (ANSI) on a machine that gives -12 dBFS at 250 nWb/m (DIN)."""
FULL = 10 ** (REFERENCE_DBFS / 20)
PEAK = 10 ** (-11 / 20)
GAP = np.zeros((RATE // 2, 2))


def programme() -> np.ndarray:
    """Bursts of pink noise and a piece of music, then tones.

    Peaks at -11 dB re the reference level: tape that is recorded 3 dB too hot, and its treble 6 dB, compresses little
    then. Compression can't be taken off by any filter: with peaks 3 dB higher it costs 1.2 dB of an octave.
    Ahead of an encoder a filter keeps out what tape would lose (common practice, no source).
    """
    played = np.concatenate((pink_bursts(3.0, RATE), 0.6 * demo_music(RATE)[: 7 * RATE]))
    played = sosfilt(butter(8, 15000.0, fs=RATE, output="sos"), played, axis=0)
    return np.concatenate((GAP, PEAK * played / np.abs(played).max(), tones(RATE), GAP))


SENT = programme()
MUSIC = slice(len(GAP), len(SENT) - len(tones(RATE)) - len(GAP))
TONES = slice(MUSIC.stop, MUSIC.stop + len(tones(RATE)))


def converted(sound: np.ndarray, errors: TransferErrors, *, decode: bool) -> np.ndarray:
    transfer = Transfer("type-b", RATE, REFERENCE_DBFS, errors)
    return np.concatenate(list(through(transfer.decoding() if decode else transfer.encoding(), blocks(sound))))


def worst_errors(came: np.ndarray) -> tuple[float, float]:
    """Errors of the octave spectrum and of the tones, dB, after removing the delay."""
    came = came[delay_frames(SENT[: MUSIC.stop], came[: MUSIC.stop + RATE]) :]
    octaves = octave_levels(came[MUSIC], RATE) - octave_levels(SENT[MUSIC], RATE)
    levels = tone_levels(came[TONES], RATE) - tone_levels(SENT[TONES], RATE)
    return float(np.abs(octaves).max()), float(np.abs(levels).max())


def with_and_without(model: OwnModel | PracticeModel) -> tuple[tuple[float, float], tuple[float, float]]:
    errors = model.errors()
    came = model.tape_on_a_right_machine(converted(SENT * FULL, NOTHING, decode=False))
    # Even without corrections, speed is corrected, so that the same sounds are compared.
    untouched = TransferErrors(NOTHING.channels, 0.0, errors.speed_error_percent)
    taken_off, left = (converted(came, e, decode=True) / FULL for e in (errors, untouched))
    return worst_errors(taken_off), worst_errors(left)


@pytest.mark.parametrize("seed", [0, 2])
def test_a_model_of_formulas(seed: int) -> None:
    (octaves, levels), (octaves_without, levels_without) = with_and_without(OwnModel(drawn(seed)))
    assert octaves < 1.0
    assert levels < 0.1  # read at the measured frequencies, so only interpolation and decoding remain
    assert max(octaves_without, levels_without) > 4.0


def test_the_practice_machine_by_its_readings() -> None:
    (octaves, levels), (octaves_without, levels_without) = with_and_without(PracticeModel(drawn(2), 2))
    assert octaves < 1.0
    assert levels < 1.0
    assert max(octaves_without, levels_without) > 4.0


@pytest.mark.long
@pytest.mark.parametrize("seed", range(50))
@pytest.mark.parametrize("model", ["formulas", "practice"])
def test_fifty_machines(model: str, seed: int) -> None:
    wrong = drawn(seed)
    found, without = with_and_without(OwnModel(wrong) if model == "formulas" else PracticeModel(wrong, seed))
    assert max(found) < 1.0
    assert max(found) < max(without)
