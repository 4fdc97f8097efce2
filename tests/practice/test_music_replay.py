"""Replayed music against formulae computed elsewhere and general-purpose tools."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.signal import lfilter, welch

from bench.practice.facts import MachineFacts, Table
from bench.practice.machine import PracticeMachine
from bench.practice.music_replay import delay_frames, path_through_machine, path_with_errors, replay_music, resampled
from bench.tape.fluxivity import Fluxivity
from bench.tape.mistracking_map import ReplayErrors
from tests.practice.deck import QUIET, RATE, deck

FACTS = MachineFacts("deck", 3, 47.625, 0.9, (120.0, 3180.0), Fluxivity(250.0, "DIN"), -12.0, -12.0)


def music(seconds: float = 4.0) -> np.ndarray:
    """Noise that falls with frequency to 24 kHz, alternately loud and soft; the channels are mostly equal."""
    rng = np.random.default_rng(3)
    white = rng.standard_normal((round(seconds * RATE), 3))
    pink = lfilter([1.0], [1.0, -0.9], white, axis=0)
    loudness = np.repeat([1.0, 0.1, 0.3, 0.03], len(pink) // 4)[:, None]
    both = (pink[:, :1] + 0.3 * pink[:, 1:]) * loudness
    return np.asarray(0.8 * both / np.abs(both).max())


def transfer_db(sent: np.ndarray, received: np.ndarray, hz: float) -> float:
    """Change of the spectrum in a sixth of an octave, by Welch's method."""
    bins, before = welch(sent, RATE, nperseg=4096)
    _, after = welch(received, RATE, nperseg=4096)
    near = (bins > hz / 1.06) & (bins < hz * 1.06)
    return 10 * float(np.log10(after[near].sum() / before[near].sum()))


def made(heads: int = 3, practice: Table | None = None) -> tuple[Callable[[], PracticeMachine], MachineFacts]:
    facts = MachineFacts("deck", heads, 47.625, 0.9, (120.0, 3180.0), Fluxivity(250.0, "DIN"), -12.0, -12.0)

    def make() -> PracticeMachine:
        return deck({**QUIET, **(practice or {})}, heads=heads, tape={"mol_db": 12.0})

    return make, facts


@pytest.mark.parametrize("heads", [2, 3])
def test_dirt_is_heard_as_the_treble_it_costs(heads: int) -> None:
    # Wallace 1951: 54.575·d/λ. 1 µm at 47.625 mm/s: 2.29, 4.58, 9.17 dB at 2, 4, 8 kHz. Two heads record through the
    # same dirt, which costs 0.8 of that again (44 dB per wavelength, from memory).
    make, facts = made(heads, {"replay_dirt_left_um": 1.0, "replay_dirt_right_um": 1.0})
    piece = music()
    replayed = replay_music(piece, path_through_machine(make, facts, "I"), None)
    times = 1.8 if heads == 2 else 1.0
    for hz, loss in ((2000.0, 2.29), (4000.0, 4.58), (8000.0, 9.17)):
        # Levels are matched around 400 Hz, where 0.46 dB are lost, and 0.55 dB on average over the matched octaves.
        expected = -(loss - 0.5) * times
        assert transfer_db(piece[:, 0], replayed.samples[:, 0], hz) == pytest.approx(expected, abs=0.35), hz


def test_a_right_machine_gives_back_what_it_was_sent_in_time() -> None:
    make, facts = made()
    piece = music()
    for system in (None, "type-b"):
        replayed = replay_music(piece, path_through_machine(make, facts, "I"), system)
        assert replayed.samples.shape == piece.shape
        assert abs(replayed.matched_db) < 0.2
        assert delay_frames(piece, np.concatenate([replayed.samples, np.zeros((RATE, 2))])) == 0
        for hz in (100.0, 400.0, 2000.0, 5000.0, 10000.0):
            assert abs(transfer_db(piece[:, 0], replayed.samples[:, 0], hz)) < 0.5, (system, hz)


def test_noise_reduction_takes_hiss_off() -> None:
    # Common practice, no source: 9 dB weighted; in the octave to which the ear is most sensitive, 8 to 11 dB.
    piece = np.zeros((3 * RATE, 2))
    piece[: RATE // 2] = 0.5 * np.sin(2 * np.pi * 400 / RATE * np.arange(RATE // 2))[:, None]

    def make() -> PracticeMachine:
        return deck(QUIET, tape={"noise_db": -50.0})

    left = {}
    for system in (None, "type-b"):
        replayed = replay_music(piece, path_through_machine(make, FACTS, "I"), system)
        hz, power = welch(replayed.samples[RATE:, 0], RATE, nperseg=4096)
        left[system] = 10 * np.log10(power[(hz > 4000) & (hz < 8000)].sum())
    assert left[None] - left["type-b"] == pytest.approx(9.5, abs=1.5)


def test_lost_treble_is_duller_decoded_than_undecoded() -> None:
    # Common practice, no source: 10 dB of treble lost ahead of the decoder.
    piece, path = music(), path_with_errors([ReplayErrors(0.0, ((10000.0, -10.0),))])
    without, with_b = (replay_music(piece, path, system) for system in (None, "type-b"))
    assert transfer_db(piece[:, 0], without.samples[:, 0], 10000.0) == pytest.approx(
        -10.0 + without.matched_db, abs=0.1
    )
    assert with_b.change_db[8000.0] < without.change_db[8000.0] - 3


def test_a_level_error_alone_is_matched_away_but_for_what_the_decoder_makes_of_it() -> None:
    piece, path = music(), path_with_errors([ReplayErrors(-6.0)])
    without, with_b = (replay_music(piece, path, system) for system in (None, "type-b"))
    assert without.matched_db == pytest.approx(6.0, abs=0.01)
    assert np.abs(without.samples - piece).max() < 1e-3
    assert with_b.change_db[8000.0] < -1.5


def test_each_channel_has_its_own_errors() -> None:
    piece = music()
    replayed = replay_music(piece, path_with_errors([ReplayErrors(), ReplayErrors(0.0, ((1000.0, -6.0),))]), None)
    left, right = (transfer_db(piece[:, c], replayed.samples[:, c], 5000.0) for c in (0, 1))
    assert left - right == pytest.approx(6.0, abs=0.05)


@pytest.mark.parametrize("late", [0, 1, 4321, RATE - 1])
def test_lateness_is_found_even_of_inverted_channels(late: int) -> None:
    piece = music(7.0)
    received = np.concatenate([np.zeros((late, 2)), piece * [1.0, -1.0], np.zeros((RATE - late, 2))])
    assert delay_frames(piece, received) == late


@pytest.mark.parametrize("rate", [22050, 44100, 48000, 88200, 96000])
def test_any_rate_becomes_48_khz(rate: int) -> None:
    tone = np.sin(2 * np.pi * 997 / rate * np.arange(rate))[:, None]
    at_48 = resampled(tone, rate)
    assert len(at_48) == RATE
    wanted = np.sin(2 * np.pi * 997 / RATE * np.arange(RATE))[:, None]
    assert np.abs(at_48 - wanted)[1000:-1000].max() < 2e-3
