"""What is reported about a capture for any quantity."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from bench.measure.tone.meter import CaptureCheck, dominant, nearest
from tests.cases import cases
from tests.measure.spoiled import Tone, stereo
from tests.measure.tone.finding.test_found_tone import found
from tests.measure.whole_array import level

RATE = 48000.0


def test_clipping_is_said_with_its_place() -> None:
    x = np.clip(1.4 * stereo(Tone(1000.0, 0.0, 1.0), RATE), -1.0, 1.0)
    x[:, 0] *= 0.5
    ahead, warning = level(x, RATE).warnings
    assert ahead.startswith("left channel: the tops of the wave are cut at −6.0 dBFS")
    assert warning.startswith("right channel clipped from 0.000 s on")


@cases(30)
@given(cut=st.integers(1, 99))
def test_clipping_is_seen_across_blocks(cut: int) -> None:
    x = np.zeros((100, 1))
    x[50:53] = 1.0
    capture = CaptureCheck(1000.0, 1)
    capture.feed(x[:cut])
    capture.feed(x[cut:])
    assert capture.clipping()[0].startswith("mono channel clipped from 0.050 s on")


def test_two_samples_at_full_scale_are_a_sine_that_touches_it() -> None:
    x = np.zeros((100, 1))
    x[50:52] = 1.0
    capture = CaptureCheck(1000.0, 1)
    capture.feed(x)
    assert capture.clipping() == ()


def test_the_nearest_within_reach_and_the_dominant() -> None:
    tones = [found(0, 1, 0.1, 950.0), found(1, 2, 0.1, 1040.0), found(2, 9, 0.1, 3000.0), found(9, 10, 0.1, 1041.0)]
    assert [t.frequency_hz for t in nearest(tones, 1000.0)] == [1040.0, 1041.0]
    assert nearest(tones, 2000.0) == []
    assert dominant(tones).frequency_hz == 3000.0


def test_faint_hum_is_not_the_nearest() -> None:
    tones = [found(0, 9, 0.001, 60.0), found(1, 2, 0.1, 63.5)]
    assert [t.frequency_hz for t in nearest(tones, 61.0)] == [63.5]
