"""The stated uncertainty of a decoded level: how often it holds, by the decoder itself and not its static law."""

from __future__ import annotations

import numpy as np
import pytest

from bench.tape.mistracking_map import ReplayErrors
from bench.transfer.errors import ChannelErrors, TransferErrors
from bench.transfer.stages import through
from bench.transfer.transfer import Transfer
from bench.transfer.uncertainty import AT_DB, AT_HZ, decoded_uncertainties, decoded_uncertainty_db
from tests.transfer.programme import TONES, tone_levels, tones

RATE = 48000
LEVEL_U, TREBLE_U = 0.5, {4000.0: 0.8, 10000.0: 1.5}
"""Expanded (k = 2), dB."""


def test_it_holds_in_95_cases_of_100() -> None:
    sent = tones(RATE)
    right = TransferErrors((ChannelErrors(), ChannelErrors()))
    coded = np.concatenate(list(through(Transfer("type-b", RATE, -12.0, right).encoding(), [sent / 4])))
    true = tone_levels(sent / 4, RATE)
    rng = np.random.default_rng(95)
    both = tuple((hz, float(np.hypot(LEVEL_U, u))) for hz, u in TREBLE_U.items())
    hz, db = np.array(TONES).T
    stated = decoded_uncertainty_db("type-b", hz, db, [dict(both)[f] for f in hz])[:, None]
    held = []
    for _ in range(50):
        # The correction is the reading, which is off by its standard deviation.
        channels = tuple(
            ChannelErrors(
                ReplayErrors(
                    rng.normal(0, LEVEL_U / 2), tuple((hz, rng.normal(0, u / 2)) for hz, u in TREBLE_U.items())
                ),
                both,
            )
            for _ in range(2)
        )
        transfer = Transfer("type-b", RATE, -12.0, TransferErrors(channels))
        came = np.concatenate(list(through(transfer.decoding(), [coded])))
        held.append(np.abs(tone_levels(came, RATE) - true) <= stated)
    assert 0.93 < np.mean(held) < 0.98


def test_it_is_larger_where_the_decoder_magnifies() -> None:
    # Common practice, no source: middle levels; almost nothing at the lowest.
    lowest, middle = decoded_uncertainty_db("type-b", 4000.0, [-50.0, -20.0], 0.5)
    assert lowest == pytest.approx(0.5, abs=0.02)
    assert middle > 0.9


def test_one_for_each_level_and_frequency() -> None:
    known = ChannelErrors(ReplayErrors(0.0, ((10000.0, -3.0),)), ((400.0, 0.2), (10000.0, 0.6)))
    found = decoded_uncertainties("type-b", known)
    assert found is not None
    assert {(u.frequency_hz, u.level_db) for u in found} == {(hz, db) for hz in AT_HZ for db in AT_DB}
    by = {(u.frequency_hz, u.level_db): u.db for u in found}
    assert by[400.0, -40.0] == pytest.approx(0.2, abs=0.01)
    assert by[10000.0, -30.0] > by[10000.0, -40.0] > 0.6
    # Half way by log f from 400 Hz to 10 kHz lies 2 kHz.
    assert by[2000.0, -40.0] == pytest.approx(0.4, abs=0.02)
    assert decoded_uncertainties("type-b", ChannelErrors()) is None
