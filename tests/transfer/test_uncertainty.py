"""The stated uncertainty of a decoded level: how often it holds, by the decoder itself and not its static law."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from bench.session.compare.interchange import right_machine
from bench.session.compare.machine_errors import AZIMUTH, EXACT, SPEED, ErrorKind, MachineErrors, Value
from bench.session.compare.transfer_errors import on_another
from bench.tape.mistracking_map import ReplayErrors
from bench.transfer.errors import ChannelErrors, TransferErrors
from bench.transfer.stages import through
from bench.transfer.transfer import Transfer
from bench.transfer.uncertainty import AT_DB, AT_HZ, decoded_uncertainties, decoded_uncertainty_db
from tests.transfer.programme import TONES, tone_levels, tones
from tests.transfer.wrong_machines import READ_HZ, SIDES, SPACING, SPEED_MM_S, WIDTH, OwnModel, drawn

RATE = 48000
LEVEL_U, TREBLE_U = 0.5, {4000.0: 0.8, 10000.0: 1.5}
"""Expanded (k = 2), dB."""
TAPE_U, OWN_U = 0.2, 0.03
"""Of the reference tape and of a reading from record to replay, expanded, dB."""


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


def read_with_errors(seed: int) -> MachineErrors:
    """A two-head machine as a session reads it: the reference tape and each reading are off by what they state."""
    rng, wrong = np.random.default_rng([seed, 95]), drawn(seed)
    model = OwnModel(wrong)
    azimuth_u = 0.3 * model.delay_us / wrong.azimuth_arcmin
    replay = {SPEED: EXACT, AZIMUTH: Value(model.delay_us + rng.normal(0, azimuth_u / 2), azimuth_u)}
    own = {SPEED: EXACT, AZIMUTH: EXACT}
    level_off, response_off = rng.normal(0, TAPE_U / 2), rng.normal(0, TAPE_U / 2, len(READ_HZ))
    tilt_db = 20 * np.log10(np.abs(model.tilt(np.array(READ_HZ))))
    for c, side in enumerate(SIDES):
        amplifier_db = 20 * np.log10(np.abs(model.amplifier(c, np.array([400.0, *READ_HZ]))))
        replay[ErrorKind("level", side)] = Value(level_off, TAPE_U)
        own[ErrorKind("level", side)] = Value(wrong.level_db[c] + amplifier_db[0] + rng.normal(0, OWN_U / 2), OWN_U)
        for n, hz in enumerate(READ_HZ):
            replay[ErrorKind("response", side, hz)] = Value(tilt_db[n] + response_off[n], TAPE_U)
            response = amplifier_db[n + 1] - amplifier_db[0] + rng.normal(0, OWN_U / 2)
            own[ErrorKind("response", side, hz)] = Value(response, OWN_U)
    return MachineErrors(
        *("deck", "session", datetime(2026, 5, 3, tzinfo=UTC), 2, SPEED_MM_S, SPACING, WIDTH),
        *("120 µs + 3180 µs", "250 nWb/m (DIN)", "reference", replay, own, ()),
    )


def test_that_of_a_session_holds_in_95_cases_of_100() -> None:
    held = []
    for seed in range(60):
        read, true = read_with_errors(seed), OwnModel(drawn(seed)).errors()
        found = on_another(read, right_machine(read), SIDES).errors
        for ours, theirs in zip(found.channels, true.channels, strict=True):
            off = ours.errors.at((400.0, *READ_HZ)) - theirs.errors.at((400.0, *READ_HZ))
            stated = ours.uncertainty_at((400.0, *READ_HZ))
            assert stated is not None
            held.append(np.abs(off) <= stated)
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
