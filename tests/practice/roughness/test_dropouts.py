"""Dropouts: rate, length, depth and place; treble is lost first, as by spacing."""

from __future__ import annotations

import numpy as np
import pytest

from bench.practice.roughness.coating import Dropouts
from tests.practice.deck import QUIET, RATE, deck, level_dbfs, run, tone


def runs_of(lost: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], (lost > 0).astype(int), [0]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def test_they_come_at_their_rate_with_the_lengths_of_a_tape() -> None:
    step = 24
    places = np.arange(0.0, 60 * RATE, step)
    lost = Dropouts(30.0, seed=3).loss_db(places)
    assert lost is not None
    worse = lost.max(axis=0)
    found = runs_of(worse)
    # 30 expected in a minute, Poisson: within three standard deviations.
    assert 14 <= len(found) <= 46
    lengths = np.array([b - a for a, b in found]) * step / RATE
    # Log-normal, median 12 ms, 2 to 200 ms; 2 to 25 dB at 10 kHz. Common practice, no source.
    assert 0.006 < np.median(lengths) < 0.024
    assert lengths.max() < 0.25
    deepest = np.array([worse[a:b].max() for a, b in found])
    assert deepest.min() > 1.5
    assert deepest.max() <= 50.0  # two may overlap
    again = Dropouts(30.0, seed=3).loss_db(places[: places.size // 2])
    assert again is not None
    assert np.array_equal(again, lost[:, : places.size // 2])


def test_one_channel_loses_more_than_the_other() -> None:
    lost = Dropouts(30.0, seed=4).loss_db(np.arange(0.0, 60 * RATE, 24))
    assert lost is not None
    for a, b in runs_of(lost.max(axis=0)):
        left, right = lost[:, a:b].max(axis=1)
        assert min(left, right) < 0.999 * max(left, right)


def test_none_cost_nothing() -> None:
    assert Dropouts(0.0, seed=3).loss_db(np.arange(100.0)) is None


def test_those_of_a_tape_come_again_at_the_same_places_and_take_treble_first() -> None:
    machine = deck(QUIET, tape={"dropouts_per_minute": 400.0}, heads=2)
    machine.load("work")
    machine.switch("transport", "record")
    machine.process(tone(10000.0, -34.0, 8.0) + tone(2500.0, -34.0, 8.0))
    courses = []
    for _ in range(2):
        machine.rewind()
        machine.switch("transport", "play")
        run(machine, 0.04)  # a whole chunk, so that both replays begin at the same point
        heard = run(machine, 7.0)[:, 0]
        pieces = [heard[i : i + 480] for i in range(4800, 300000, 480)]
        courses.append([[level_dbfs(piece, hz) for piece in pieces] for hz in (10000.0, 2500.0)])
    lost = np.median(courses, axis=2)[:, :, None] - np.array(courses)
    deep = lost[:, 0] > 4.0
    assert deep[0].sum() > 3
    assert np.mean(deep[0] == deep[1]) > 0.99
    # Wallace: 54.6·d/λ dB, so that 2.5 kHz loses a quarter of what 10 kHz loses.
    assert np.mean(lost[0, 1][deep[0]]) == pytest.approx(np.mean(lost[0, 0][deep[0]]) / 4, rel=0.25)
