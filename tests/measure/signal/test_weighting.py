"""Weighting networks against the standards' tables.

A: IEC 61672-1, nominal values as read in GOST 17187-2010 table 2 (= IEC 61672-1:2002), class 1 acceptance limits of
the 2013 edition from memory. BS.468: nominal values as read in print, limits from memory. Flutter: IEC 60386 table I
from memory, limits from memory with low confidence.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from bench.measure.signal.weighting import (
    a_network,
    band_network,
    bs468_db,
    bs468_network,
    flutter_db,
    flutter_network,
)

A_HZ = (20.598997, 107.65265, 737.86223, 12194.217)
"""f1 to f4 of IEC 61672-1:2013 annex E (from memory)."""


def a_weighting_db(hz: float) -> float:
    """IEC 61672-1:2013 equation E.6 (from memory)."""
    f1, f2, f3, f4 = A_HZ

    def db(f: float) -> float:
        return 20.0 * math.log10(
            f4**2 * f**4 / ((f**2 + f1**2) * math.hypot(f, f2) * math.hypot(f, f3) * (f**2 + f4**2))
        )

    return db(hz) - db(1000.0)


RATES = (44100.0, 48000.0, 88200.0, 96000.0, 192000.0)
NONE = -math.inf

# Nominal frequency, A weighting in dB, class 1 limits up and down in dB (2013).
IEC_61672_A = (
    (10, -70.4, 3.0, NONE),
    (12.5, -63.4, 2.5, NONE),
    (16, -56.7, 2.0, -4.0),
    (20, -50.5, 2.0, -2.0),
    (25, -44.7, 2.0, -1.5),
    (31.5, -39.4, 1.5, -1.5),
    (40, -34.6, 1.0, -1.0),
    (50, -30.2, 1.0, -1.0),
    (63, -26.2, 1.0, -1.0),
    (80, -22.5, 1.0, -1.0),
    (100, -19.1, 1.0, -1.0),
    (125, -16.1, 1.0, -1.0),
    (160, -13.4, 1.0, -1.0),
    (200, -10.9, 1.0, -1.0),
    (250, -8.6, 1.0, -1.0),
    (315, -6.6, 1.0, -1.0),
    (400, -4.8, 1.0, -1.0),
    (500, -3.2, 1.0, -1.0),
    (630, -1.9, 1.0, -1.0),
    (800, -0.8, 1.0, -1.0),
    (1000, 0.0, 0.7, -0.7),
    (1250, 0.6, 1.0, -1.0),
    (1600, 1.0, 1.0, -1.0),
    (2000, 1.2, 1.0, -1.0),
    (2500, 1.3, 1.0, -1.0),
    (3150, 1.2, 1.0, -1.0),
    (4000, 1.0, 1.0, -1.0),
    (5000, 0.5, 1.5, -1.5),
    (6300, -0.1, 1.5, -2.0),
    (8000, -1.1, 1.5, -2.5),
    (10000, -2.5, 2.0, -3.0),
    (12500, -4.3, 2.0, -5.0),
    (16000, -6.6, 2.5, -16.0),
    (20000, -9.3, 3.0, NONE),
)

# Frequency, nominal dB, limit either way; at 6.3 kHz "0", which is half the last printed digit.
BS_468 = (
    (31.5, -29.9, 2.0),
    (63, -23.9, 1.4),
    (100, -19.8, 1.0),
    (200, -13.8, 0.85),
    (400, -7.8, 0.7),
    (800, -1.9, 0.55),
    (1000, 0.0, 0.5),
    (2000, 5.6, 0.5),
    (3150, 9.0, 0.5),
    (4000, 10.5, 0.5),
    (5000, 11.7, 0.5),
    (6300, 12.2, 0.05),
    (7100, 12.0, 0.2),
    (8000, 11.4, 0.4),
    (9000, 10.1, 0.6),
    (10000, 8.1, 0.8),
    (12500, 0.0, 1.2),
    (14000, -5.3, 1.4),
    (16000, -11.7, 1.6),
    (20000, -22.2, 2.0),
)
BS_468_31500 = (-42.7, 2.8)
"""Nominal and upper limit; there is no lower one."""

# Frequency, dB, limits up and down.
IEC_60386 = (
    (0.1, -48.0, 10, -4),
    (0.2, -30.6, 10, -4),
    (0.315, -19.7, 4, -4),
    (0.4, -15.0, 4, -4),
    (0.63, -8.4, 2, -2),
    (0.8, -6.0, 2, -2),
    (1.0, -4.2, 2, -2),
    (1.6, -1.8, 2, -2),
    (2.0, -0.9, 2, -2),
    (4.0, 0.0, 0, 0),
    (6.3, -0.9, 2, -2),
    (10.0, -2.1, 2, -2),
    (20.0, -5.9, 2, -2),
    (40.0, -10.4, 2, -2),
    (63.0, -14.2, 2, -2),
    (100.0, -17.3, 2, -2),
    (200.0, -23.0, 2, -2),
)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize(("nominal", "db", "up", "down"), IEC_61672_A)
def test_a_weighting_is_class_1_at_every_tabulated_frequency(
    rate: float, nominal: float, db: float, up: float, down: float
) -> None:
    exact = 1000.0 * 10.0 ** (round(10.0 * math.log10(nominal / 1000.0)) / 10.0)
    off = float(a_network(rate).gain_db(exact)[0]) - db
    assert down <= off <= up
    # The curve itself is known more closely than the limits (annex E, next test); this is the error of the digital fit.
    assert abs(off + db - a_weighting_db(exact)) < (0.03 if nominal < 16000 else 0.11)


@pytest.mark.parametrize(("nominal", "db", "up", "down"), IEC_61672_A)
def test_a_weighting_formula_gives_the_table(nominal: float, db: float, up: float, down: float) -> None:
    exact = 1000.0 * 10.0 ** (round(10.0 * math.log10(nominal / 1000.0)) / 10.0)
    assert a_weighting_db(exact) == pytest.approx(db, abs=0.055)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize(("hz", "db", "limit"), BS_468)
def test_bs468_lies_within_its_mask(rate: float, hz: float, db: float, limit: float) -> None:
    off = float(bs468_network(rate).gain_db(hz)[0]) - db
    assert abs(off) <= limit
    assert abs(off) < (0.06 if hz < 16000 else 0.1)  # the polynomial is within 0.05 dB of the table


@pytest.mark.parametrize("rate", [r for r in RATES if r > 63000])
def test_bs468_at_31500_hz_where_the_rate_reaches_it(rate: float) -> None:
    nominal, up = BS_468_31500
    assert float(bs468_network(rate).gain_db(31500.0)[0]) < nominal + up


@pytest.mark.parametrize("rate", RATES)
def test_bs468_mask_holds_between_the_tabulated_frequencies(rate: float) -> None:
    # Limits between the corners are linear in dB over log f (from memory).
    hz = np.geomspace(31.5, 20000.0, 2000)
    table = np.array([(f, t) for f, _, t in BS_468])
    limit = np.interp(np.log(hz), np.log(table[:, 0]), table[:, 1])
    off = bs468_network(rate).gain_db(hz) - bs468_db(hz)
    assert np.all(np.abs(off) <= limit + 0.02)


def test_bs468_moved_to_2_khz_moves_by_5_63_db() -> None:
    # JAES 27(3), 1979, and the AES17 CCIR-RMS filter (5.63 from memory); 5.629 by the polynomial.
    assert float(bs468_db(2000.0)[0]) == pytest.approx(5.629, abs=0.001)


@pytest.mark.parametrize(("band", "a", "bs468"), [((20.0, 20000.0), -2.05, 7.3), ((22.4, 22400.0), -2.46, 6.81)])
def test_weighted_white_noise_against_its_flat_rms(band: tuple[float, float], a: float, bs468: float) -> None:
    # Computed from the curves over an ideal band.
    hz = np.linspace(*band, 40000)
    for network, gain in ((a_network(192000.0), a), (bs468_network(192000.0), bs468)):
        power = np.mean(10.0 ** (network.gain_db(hz) / 10.0))
        assert 10.0 * math.log10(power) == pytest.approx(gain, abs=0.02)


@pytest.mark.parametrize("rate", RATES)
def test_band_is_3_db_down_at_its_edges_and_steep_beyond(rate: float) -> None:
    network = band_network(rate)
    assert float(network.gain_db(22.4)[0]) == pytest.approx(-3.01, abs=0.01)
    assert float(network.gain_db(11.2)[0]) < -18.0  # IEC 60268-1: at least 18 dB per octave
    flat = network.gain_db(np.geomspace(40.0, 16000.0, 200))
    assert np.all(np.abs(flat) < 0.5)
    assert np.all(np.abs(network.gain_db(np.geomspace(100.0, 20000.0, 200))) < 0.021)
    if rate > 2 * 22400.0:
        assert float(network.gain_db(22400.0)[0]) == pytest.approx(-3.01, abs=0.01)
        assert network.limit == ""
    if rate > 4 * 22400.0:
        assert float(network.gain_db(44800.0)[0]) < -18.0
        assert np.all(network.gain_db(np.linspace(26600.0, 0.49 * rate, 200)) < -50.0)  # what is left of bias


def test_a_rate_that_can_not_hold_the_band_says_so() -> None:
    assert "22.05 kHz" in band_network(44100.0).limit
    assert "4 kHz" in a_network(8000.0).limit
    assert bs468_network(48000.0).limit == ""


@pytest.mark.parametrize("rate", [2000.0, 44100.0 / 22])
@pytest.mark.parametrize(("hz", "db", "up", "down"), IEC_60386)
def test_flutter_weighting_at_all_17_points(rate: float, hz: float, db: float, up: float, down: float) -> None:
    off = float(flutter_network(rate).gain_db(hz)[0]) - db
    assert down - 0.005 <= off <= up + 0.005
    assert abs(off) < 0.36  # what our network, a fit, reaches


@pytest.mark.parametrize("rate", [2000.0, 44100.0 / 22])
def test_flutter_network_is_what_we_declare(rate: float) -> None:
    hz = np.geomspace(0.1, 200.0, 500)
    assert np.abs(flutter_network(rate).gain_db(hz) - flutter_db(hz)).max() < 0.01


@pytest.mark.parametrize("network", [a_network, bs468_network, band_network])
@pytest.mark.parametrize("rate", [8000.0, 22050.0, *RATES, 384000.0])
def test_networks_are_stable_and_as_scipy_filters_with_them(network: object, rate: float) -> None:
    from scipy.signal import sosfreqz

    made = network(rate)  # type: ignore[operator]
    for section in made.sos:
        assert np.all(np.abs(np.roots(section[3:])) < 1.0)
    hz = np.geomspace(20.0, 0.45 * rate, 50)
    _, response = sosfreqz(made.sos, hz, fs=rate)
    assert np.allclose(response, made.response(hz), rtol=1e-9)
