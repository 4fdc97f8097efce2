"""Peaks of a spectrum."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from bench.measure.signal import spectral_peaks as module
from bench.measure.signal.spectral_peaks import hann_power, strongest_peaks, without_sidebands


def spectrum(x: np.ndarray) -> np.ndarray:
    return np.fft.rfft(x)[None, :]


@pytest.mark.parametrize("hz", [45.0, 315.0, 1003.0, 10000.0, 19998.0])
def test_frequency_and_power_of_a_sine(hz: float) -> None:
    size, rate = 6144, 48000.0
    x = 0.1 * np.sin(2 * np.pi * hz * np.arange(size) / rate + 1.0)
    x += 1e-5 * np.random.default_rng(0).standard_normal(size)
    power = hann_power(spectrum(x))
    direct = np.abs(np.fft.rfft(x * np.hanning(size + 1)[:-1]) * 4 / size) ** 2
    assert np.allclose(power[1:-1], direct[1:-1], rtol=1e-6, atol=1e-15)
    (found, strength), *_ = strongest_peaks(power, rate / size)
    assert abs(found - hz) < 0.5
    # A Hann window's scallop is 1.42 dB at most.
    assert -1.5 < 10 * np.log10(strength / 0.01) < 0.1


def test_noise_has_hardly_a_peak_and_a_fluttering_tone_one() -> None:
    rng = np.random.default_rng(2)
    size, rate = 6144, 48000.0
    counts = [len(strongest_peaks(hann_power(spectrum(rng.standard_normal(size))), rate / size)) for _ in range(50)]
    assert np.mean(counts) < 2.0
    t = np.arange(size) / rate
    x = np.sin(2 * np.pi * (16000.0 * t + 1.27 * np.sin(2 * np.pi * 6.0 * t))) + 1e-4 * rng.standard_normal(size)
    peaks = strongest_peaks(hann_power(spectrum(x)), rate / size)
    assert len(peaks) == 1


def test_pairs_about_a_stronger_peak_are_sidebands_and_others_are_not() -> None:
    tone, pair = (2000.0, 1.0), [(2050.0, 1e-3), (1950.0, 1.2e-3)]
    alone, far, strong = (2050.0, 1e-3), [(2500.0, 1e-3), (1500.0, 1e-3)], [(2050.0, 0.5), (1950.0, 0.5)]
    assert without_sidebands([tone, *pair], 7.8) == [tone]
    assert without_sidebands([tone, alone], 7.8) == [tone, alone]
    assert without_sidebands([tone, *far], 7.8) == [tone, *far]
    assert without_sidebands([tone, *strong], 7.8) == [tone, *strong]


@pytest.mark.parametrize("noise", [1e-7, 1e-4, 3e-2])
def test_the_floor_under_a_few_peaks_is_the_floor_everywhere(monkeypatch: pytest.MonkeyPatch, noise: float) -> None:
    rate, size = 48000.0, 6144
    rng = np.random.default_rng(4)
    for hz in (31.0, 400.0, 999.0, 1003.0, 3998.0, 10000.0, 23900.0):
        x = 0.1 * np.sin(2 * np.pi * hz * np.arange(size) / rate) + noise * rng.standard_normal(size)
        power = hann_power(spectrum(x), rate / size)
        told = []
        for few in (-1, 10**6):
            monkeypatch.setattr(module, "FEW_PEAKS", few)
            told.append(strongest_peaks(power, rate / size))
        assert told[0] == told[1] != []


@pytest.mark.parametrize("rate", [44100.0, 48000.0])
def test_noise_on_the_slope_of_a_filter_is_no_peak(rate: float) -> None:
    """Every capture has such a slope: the anti-aliasing filter of its converter."""
    rng = np.random.default_rng(3)
    size = 128 * 2 * round(rate / 2000.0)
    steep = butter(6, 19800.0, fs=rate, output="sos")
    counts = [
        sum(hz > 19000.0 for hz, _ in strongest_peaks(hann_power(spectrum(x)), rate / size))
        for x in sosfilt(steep, 1e-3 * rng.standard_normal(200 * size)).reshape(200, size)
    ]
    assert np.mean(counts) < 0.3
