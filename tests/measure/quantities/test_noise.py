"""Noise by four methods, against published curves and independent tools."""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from bench.measure.catalogue import A_WEIGHTED, AVERAGE_2K, BS468_QUASI_PEAK, NOISE_METHODS, UNWEIGHTED_BAND
from bench.measure.meters import Options
from tests.measure.captures import hiss, mono, reading, readings, tone, value
from tests.measure.whole_array import noise

RATES = (44100.0, 48000.0, 88200.0, 96000.0, 192000.0)


def a_weighted_power(x: NDArray[np.float64], rate: float) -> float:
    """Mean square behind A weighting, in the frequency domain: poles of IEC 61672-1 annex E, nothing of ours."""
    hz = np.fft.rfftfreq(len(x), 1.0 / rate)
    power = np.abs(np.fft.rfft(x)) ** 2 / len(x) ** 2
    power[1 : (len(x) + 1) // 2] *= 2.0
    f2 = hz**2
    gain = f2**2 * 12194.217**2 / ((f2 + 20.599**2) * np.sqrt((f2 + 107.653**2) * (f2 + 737.862**2)))
    gain /= f2 + 12194.217**2
    at_1k = 1e12 * 12194.217**2 / (1e6 + 20.599**2) / np.sqrt((1e6 + 107.653**2) * (1e6 + 737.862**2))
    at_1k /= 1e6 + 12194.217**2
    return float(np.sum(power * (gain / at_1k) ** 2))


@pytest.mark.parametrize("rate", RATES)
def test_a_weighted_noise_is_what_the_frequency_domain_gives(rate: float) -> None:
    x = hiss(-60.0, 4.0, rate, seed=3)
    expected = 10.0 * np.log10(2.0 * a_weighted_power(x[:, 0] - x[:, 0].mean(), rate))
    assert value(noise(x, rate), "noise", method=A_WEIGHTED) == pytest.approx(expected, abs=0.03)


@pytest.mark.parametrize("rate", [r for r in RATES if r > 44800.0])
def test_unweighted_noise_is_that_of_the_band(rate: float) -> None:
    # White noise of density 1/20000: 22.4 Hz to 22.4 kHz hold 10 lg(22377.6/20000) = 0.49 dB more.
    told = reading(noise(hiss(-60.0, 6.0, rate, seed=1), rate), "noise", method=UNWEIGHTED_BAND)
    assert told.value == pytest.approx(-60.0 + 0.49, abs=0.08)


@pytest.mark.parametrize("rate", RATES)
def test_average_responding_reads_gaussian_noise_1_05_db_below_its_rms(rate: float) -> None:
    # Weighted rms of white noise with 0 dB at 2 kHz is +1.67 dB re that in 20 kHz (computed; ideal band to 20 kHz).
    # Above 20 kHz the weighting is more than 22 dB down, so the rate hardly matters.
    told = value(noise(hiss(-60.0, 6.0, rate, seed=2), rate), "noise", method=AVERAGE_2K)
    assert told == pytest.approx(-60.0 + 1.67 - 1.049, abs=0.1)


@pytest.mark.parametrize("method", NOISE_METHODS)
@pytest.mark.parametrize("rate", [44100.0, 96000.0])
def test_a_full_scale_sine_reads_0_dbfs_where_the_method_has_its_0_db(method: str, rate: float) -> None:
    hz = 2000.0 if method == AVERAGE_2K else 1000.0
    told = value(noise(mono(tone(hz, 0.0, 4.0, rate)), rate), "noise", method=method)
    assert told == pytest.approx(0.0, abs=0.03)


@pytest.mark.parametrize(("hz", "db"), [(100.0, -19.8), (3150.0, 9.0), (6300.0, 12.2), (10000.0, 8.1), (12500.0, 0.0)])
def test_quasi_peak_of_a_tone_follows_the_bs468_table(hz: float, db: float) -> None:
    # Nominal values of BS.468-4 table 1 as read in print.
    told = value(noise(mono(tone(hz, -20.0, 4.0)), 48000.0), "noise", method=BS468_QUASI_PEAK)
    assert told == pytest.approx(-20.0 + db, abs=0.12)


def test_quasi_peak_is_the_highest_indication_from_a_discharged_start() -> None:
    # One 10 ms burst of 5 kHz anywhere in silence reads 48 % (41 to 55) of a steady one: BS.468-4 table 2, from memory.
    steady = value(noise(mono(tone(5000.0, -20.0, 3.0)), 48000.0), "noise", method=BS468_QUASI_PEAK)
    for at in (0.0, 2.5):
        x = np.zeros(48000 * 6)
        x[round(at * 48000) :][:480] = tone(5000.0, -20.0, 0.01)
        x[-1] = 1e-6
        told = value(noise(mono(x), 48000.0), "noise", method=BS468_QUASI_PEAK)
        assert 41.0 <= 100.0 * 10.0 ** ((told - steady) / 20.0) <= 55.0


@pytest.mark.parametrize("hz", [27000.0, 35000.0, 43000.0])
def test_what_is_left_of_bias_is_no_noise_of_the_band(hz: float) -> None:
    # 20 dB above the noise, at 96 kHz: the band ends at 22.4 kHz (IEC 60268-1).
    x = hiss(-60.0, 3.0, 96000.0, seed=4)
    told = noise(x + mono(tone(hz, -40.0, 3.0, 96000.0)), 96000.0)
    assert value(told, "noise", method=UNWEIGHTED_BAND) == pytest.approx(-60.0 + 0.49, abs=0.08)


def test_a_click_is_said_and_widens_the_quasi_peak() -> None:
    # Limits of BS.468-4 for a burst of 1 ms: 13.5 to 21.4 % about 17 %, 2 dB either way (from memory).
    x = hiss(-70.0, 4.0)
    clean = noise(x, 48000.0)
    assert reading(clean, "noise", method=BS468_QUASI_PEAK).uncertainty == 0.5
    assert not clean.warnings
    x[round(2.6 * 48000)] = 0.5
    told = noise(x, 48000.0)
    assert reading(told, "noise", method=BS468_QUASI_PEAK).uncertainty == 2.0
    assert any("near 2.50 s" in w or "near 2.75 s" in w for w in told.warnings)


def test_direct_current_is_no_noise() -> None:
    x = hiss(-80.0, 5.0, seed=5)
    clean, shifted = noise(x, 48000.0), noise(x + 0.1, 48000.0)
    for method in NOISE_METHODS:
        assert value(shifted, "noise", method=method) == pytest.approx(value(clean, "noise", method=method), abs=0.05)


def test_signal_to_noise_once_for_each_method_and_channel() -> None:
    told = noise(hiss(-60.0, 3.0, channels=2), 48000.0, Options(reference_level=-10.0))
    assert len(readings(told, "signal_to_noise")) == 8
    for side in ("left", "right"):
        for method in NOISE_METHODS:
            ratio = value(told, "signal_to_noise", channel=side, method=method)
            assert ratio == pytest.approx(-10.0 - value(told, "noise", channel=side, method=method))
    assert not readings(noise(hiss(-60.0, 1.0), 48000.0), "signal_to_noise")


def test_noise_made_by_another_program(tmp_path: Path) -> None:
    # sox, white noise at −30 dB of peak: uniform noise of peak 10^(−30/20), so of rms −30 − 4.77 dB, over 0 to 24 kHz.
    path = tmp_path / "white.wav"
    subprocess.run(
        [
            "sox",
            "-R",
            "-n",
            "-r",
            "48000",
            "-c",
            "1",
            "-b",
            "24",
            path,
            "synth",
            "10",
            "whitenoise",
            "vol",
            "-30",
            "dB",
        ],
        check=True,
    )
    x, rate = soundfile.read(path, always_2d=True)
    rms = 10.0 * np.log10(2.0 * np.mean(x**2))
    told = noise(x, float(rate))
    assert value(told, "noise", method=UNWEIGHTED_BAND) == pytest.approx(rms + 10.0 * np.log10(22.4 / 24.0), abs=0.05)
    expected = 10.0 * np.log10(2.0 * a_weighted_power(x[:, 0], float(rate)))
    assert value(told, "noise", method=A_WEIGHTED) == pytest.approx(expected, abs=0.03)


def test_stated_uncertainty_of_a_mean_covers_the_scatter_between_captures() -> None:
    off = []
    for seed in range(30):
        told = reading(noise(hiss(-60.0, 2.5, 8000.0, seed=seed), 8000.0), "noise", method=A_WEIGHTED)
        off.append((told.value, told.uncertainty))
    values, spread = np.array(off).T
    assert np.mean(np.abs(values - values.mean()) < spread) > 0.85


def test_what_the_whole_capture_shows_is_said_and_counted_once() -> None:
    x = hiss(-60.0, 6.0) + mono(tone(50.0, -50.0, 6.0))
    spectrum = np.fft.rfft(x[:, 0])
    spectrum[np.fft.rfftfreq(len(x), 1 / 48000.0) > 15000.0] = 0.0  # as lossy coding leaves it
    x = np.fft.irfft(spectrum)[:, None]
    x[1000:1010] = 1.0
    told = noise(x, 48000.0)
    assert sum("clipped from" in w for w in told.warnings) == 1
    assert sum("lossy coding" in w for w in told.warnings) == 1
    for quantity in ("noise", "hum"):
        assert all([c.source for c in r.budget].count("lossy coding") == 1 for r in readings(told, quantity))


def test_a_rate_below_the_band_is_said() -> None:
    assert any("22.05 kHz" in w for w in noise(hiss(-60.0, 1.0, 44100.0), 44100.0).warnings)
    assert not noise(hiss(-60.0, 1.0), 48000.0).warnings
