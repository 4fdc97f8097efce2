"""The short piece of music: bright, percussive and sustained, loud and then soft."""

from __future__ import annotations

import numpy as np
from scipy.signal import welch

from bench.signals.demo_music import demo_music

RATE = 48000


def test_it_is_ten_seconds_the_same_each_time_and_does_not_clip() -> None:
    first = demo_music(RATE)
    assert first.shape == (10 * RATE, 2)
    assert np.abs(first).max() < 0.71
    assert np.array_equal(first, demo_music(RATE))


def test_its_second_half_is_soft() -> None:
    loud, soft = (20 * np.log10(np.std(demo_music(RATE)[a * RATE : b * RATE])) for a, b in ((0, 5), (6, 10)))
    assert 16 < loud - soft < 20


def test_there_is_treble_to_lose() -> None:
    hz, power = welch(demo_music(RATE)[:, 0], RATE, nperseg=8192)

    def share(low: float, high: float) -> float:
        return 10 * float(np.log10(power[(hz >= low) & (hz < high)].sum() / power.sum()))

    assert share(5657, 11314) > -15
    assert share(11314, 22627) > -20
    assert share(177, 354) > -12


def test_its_chords_are_in_tune() -> None:
    # A of 220 Hz and E of 329.63 Hz in equal temperament on 440 Hz: the strongest lines near them.
    part = demo_music(RATE)[: 2 * RATE, 0]
    spectrum = np.abs(np.fft.rfft(part * np.hanning(part.size)))
    hz = np.fft.rfftfreq(part.size, 1 / RATE)
    for note in (220.0, 440 * 2 ** (-5 / 12)):
        near = (hz > note * 0.97) & (hz < note * 1.03)
        assert abs(hz[near][np.argmax(spectrum[near])] - note) <= 0.5
