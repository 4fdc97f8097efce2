"""Quasi-peak dynamics against Recommendation ITU-R BS.468-4 annex 1, tables 2 and 3 (from memory; percent columns)."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import sosfilt

from bench.measure.signal.quasi_peak import BS468, QuasiPeak
from bench.measure.signal.rectifier import Rectifier
from bench.measure.signal.weighting import bs468_db, bs468_network

RATES = (44100.0, 48000.0, 88200.0, 96000.0, 192000.0)

# Burst of 5 kHz in ms; reading in % of the steady one, lowest and highest allowed.
SINGLE_BURSTS = (
    (1, 13.5, 21.4),
    (2, 22.4, 31.6),
    (5, 34.0, 46.0),
    (10, 41.0, 55.0),
    (20, 44.0, 60.0),
    (50, 50.0, 68.0),
    (100, 58.0, 78.0),
    (200, 68.0, 92.0),
)
# The middle of each row, the reading that an ideal meter gives.
SINGLE_IDEAL = (17.0, 26.6, 40.0, 48.0, 52.0, 59.0, 68.0, 80.0)
REPEATED_IDEAL = (48.0, 77.0, 97.0)
# 5 ms bursts per second; lowest and highest allowed.
REPEATED_BURSTS = ((2, 43.0, 53.0), (10, 72.0, 82.0), (100, 94.0, 100.0))


def bs468_indication(weighted: NDArray[np.float64], rate: float) -> NDArray[np.float64]:
    """The highest indication of weighted samples (frames, channels), one per channel, from a discharged meter."""
    rectifier = Rectifier(rate, weighted.shape[1])
    return QuasiPeak(rectifier.rate, weighted.shape[1], BS468).feed(rectifier.feed(weighted))


def indication(x: NDArray[np.float64], rate: float) -> float:
    weighted = sosfilt(bs468_network(rate).sos, x)
    return float(bs468_indication(np.ascontiguousarray(weighted[:, None]), rate)[0])


def sine(hz: float, seconds: float, rate: float) -> NDArray[np.float64]:
    return np.asarray(np.sin(2 * np.pi * hz * np.arange(round(seconds * rate)) / rate))


def bursts(ms: float, per_second: float, seconds: float, rate: float) -> NDArray[np.float64]:
    t = np.arange(round(seconds * rate)) / rate
    return np.asarray(sine(5000.0, seconds, rate) * ((t % (1.0 / per_second)) < ms / 1000.0 - 1e-9))


@pytest.mark.parametrize("rate", RATES)
def test_single_bursts(rate: float) -> None:
    steady = indication(sine(5000.0, 3.0, rate), rate)
    for ms, low, high in SINGLE_BURSTS:
        percent = 100.0 * indication(bursts(ms, 0.1, 1.0, rate), rate) / steady
        assert low <= percent <= high, f"{ms} ms: {percent:.1f} %"


@pytest.mark.parametrize("rate", RATES)
def test_repeated_bursts(rate: float) -> None:
    steady = indication(sine(5000.0, 3.0, rate), rate)
    for per_second, low, high in REPEATED_BURSTS:
        percent = 100.0 * indication(bursts(5.0, per_second, 4.0, rate), rate) / steady
        assert low <= percent <= high, f"{per_second} per s: {percent:.1f} %"


def test_bursts_read_near_the_middle_of_their_rows() -> None:
    """Within a quarter of each tolerance: the slow discharge of the second stage hardly shows at the limits."""
    steady = indication(sine(5000.0, 3.0, 48000.0), 48000.0)
    rows = [(bursts(ms, 0.1, 1.0, 48000.0), low, high) for ms, low, high in SINGLE_BURSTS]
    rows += [(bursts(5.0, n, 4.0, 48000.0), low, high) for n, low, high in REPEATED_BURSTS]
    for (x, low, high), ideal in zip(rows, (*SINGLE_IDEAL, *REPEATED_IDEAL), strict=True):
        assert 100.0 * indication(x, 48000.0) / steady == pytest.approx(ideal, abs=(high - low) / 8.0)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("hz", [100.0, 1000.0, 3150.0, 6300.0, 8000.0, 12000.0])
def test_steady_tones_read_their_rms_through_the_weighting(rate: float, hz: float) -> None:
    # 8 kHz at 48 kHz puts six samples into a period: without interpolation its peaks are missed by up to 1.2 dB.
    told = 20.0 * np.log10(indication(sine(hz, 3.0, rate), rate) * np.sqrt(2.0))
    assert told == pytest.approx(float(bs468_db(hz)[0]), abs=0.1)


def test_one_khz_reads_exactly_its_rms() -> None:
    # BS.468-4 annex 1: calibrated so that 1 kHz of 0.775 V rms reads 0.775 V (from memory).
    assert indication(0.1 * sine(1000.0, 4.0, 48000.0), 48000.0) == pytest.approx(0.1 / np.sqrt(2.0), rel=2e-3)


def test_overswing_is_small() -> None:
    # BS.468-4: a 1 kHz tone applied at once overswings by less than 0.3 dB (from memory): here it never does.
    assert 20.0 * np.log10(indication(sine(1000.0, 6.0, 48000.0), 48000.0) * np.sqrt(2.0)) < 0.3


def test_polarity_does_not_matter() -> None:
    # BS.468-4: 1 ms rectangular pulses of either polarity differ by at most 0.5 dB (from memory).
    t = np.arange(48000 * 2) / 48000.0
    pulses = np.where(t % 0.01 < 1e-3, 0.5, 0.0)
    up, down = bs468_indication(pulses[:, None], 48000.0)[0], bs468_indication(-pulses[:, None], 48000.0)[0]
    assert abs(20.0 * np.log10(up / down)) < 0.5


def test_brief_bursts_follow_over_20_db() -> None:
    # BS.468-4 overload test: 0.6 ms bursts follow within 1 dB over 20 dB (from memory).
    first = indication(bursts(0.6, 0.1, 1.0, 48000.0), 48000.0)
    last = indication(0.1 * bursts(0.6, 0.1, 1.0, 48000.0), 48000.0)
    assert 20.0 * np.log10(first / last) == pytest.approx(20.0, abs=1.0)


def test_two_channels_do_not_mix() -> None:
    x = np.stack([sine(1000.0, 1.0, 48000.0), 0.01 * sine(1000.0, 1.0, 48000.0), np.zeros(48000)], axis=1)
    told = bs468_indication(x, 48000.0)
    assert told[1] / told[0] == pytest.approx(0.01, rel=1e-9)
    assert told[2] == 0.0
