"""Flutter of each part, on a carrier with known modulation: f(t) = fc (1 + Σ p sin 2πft)."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.meters import Options
from bench.measure.quantities.flutter import FlutterMeter
from bench.procedure.kinds.measure.flutter_parts import parts_of

RATE = 48000
LINES = {1.25: 0.10, 5.4: 0.05, 31.0: 0.02}
"""Hz: % peak."""


@pytest.fixture(scope="module")
def meter() -> FlutterMeter:
    t = np.arange(20 * RATE) / RATE
    phase = 2 * np.pi * 3150.0 * t
    for hz, percent in LINES.items():
        phase += 3150.0 * percent / 100 / hz * (1 - np.cos(2 * np.pi * hz * t))
    tone = 0.25 * np.sin(phase) + np.random.default_rng(1).normal(0, 1e-4, len(t))
    made = FlutterMeter(RATE, 2, Options(nominal=3150.0, parts=(("pinch roller", 1.25), ("capstan", 5.4))))
    made.feed(np.stack([tone, tone], axis=1))
    return made


def test_parts_are_named_with_their_share(meter: FlutterMeter) -> None:
    parts = parts_of(meter.finish().readings)
    assert [p.part for p in parts] == ["pinch roller", "capstan", "unknown"]
    assert [p.rate_hz for p in parts] == pytest.approx(list(LINES), rel=0.01)
    assert [p.percent for p in parts] == pytest.approx(list(LINES.values()), rel=0.03)
    power = sum(v**2 for v in LINES.values())
    assert [p.share for p in parts] == pytest.approx([v**2 / power for v in LINES.values()], abs=0.02)


def test_the_spectrum_has_its_peaks_where_the_lines_are(meter: FlutterMeter) -> None:
    spectrum = meter.spectrum()
    hz, percent = (np.array(x) for x in zip(*spectrum, strict=True))
    for line, peak in LINES.items():
        near = (hz > line / 1.1) & (hz < line * 1.1)
        # A Hann window's scalloping: at most 1.42 dB (Harris 1978).
        assert peak * 10 ** (-1.5 / 20) < percent[near].max() < peak * 1.03
    between = percent[(hz > 8) & (hz < 25)]
    assert between.max() < 0.005


def test_nothing_measured_is_no_parts() -> None:
    assert parts_of([]) == ()
    empty = FlutterMeter(RATE, 2, Options(nominal=3150.0))
    empty.finish()
    assert empty.spectrum() == ()
