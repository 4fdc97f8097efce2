"""The effect of quantisation on a steady tone: an error that does not look like noise.

With dither, quantisation in steps of q is white noise of q²/12 and is measured as such. Without dither, a sine becomes
a staircase with a slightly different amplitude (`AMPLITUDE_ERROR`). If its frequency is commensurate with the sample
rate (1 kHz at 48 kHz repeats the same 48 samples), the error repeats in every period: it consists of lines that
coincide with the tone and its harmonics, and no length of signal separates it from the tone. Its variance in the tone's
amplitude is that of white noise over the samples of one period, in which a sine takes each value twice: 4 (q²/12) / P.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bench.measure.tone.estimate import ChannelTone, PhasePair

LONGEST_PERIOD = 65536
"""Over a longer period the error is spread too well to matter."""
AMPLITUDE_ERROR = 2.0 / np.pi**2 / np.sqrt(2.0)
"""Rounding a sine of amplitude A without noise changes its amplitude by (2 q/π) J₁(2π A/q), a Bessel function of
magnitude (2/π²) q √(q/A) for large A; this is its root mean square over A, in q. Noise removes it, as dither does."""
DITHER_NOISE = 3.0
"""Noise above this, in q²/12, acts as dither; triangular dither amounts to this much. Less may be the harmonics of the
staircase."""
VISIBLE_FRACTION = 0.5
"""Fraction of the quantisation power that is seen as noise if it behaves as noise."""


def with_rounding(
    tones: tuple[ChannelTone, ...], pair: PhasePair | None, step: float, sample_rate: float, seconds: float
) -> tuple[tuple[ChannelTone, ...], PhasePair | None]:
    """The same tones, with their uncertainty widened for quantisation error that does not show as noise.

    Args:
        tones: as measured, with the uncertainty from noise.
        pair: the same.
        step: quantisation step, full scale 1; 0 for none.
        sample_rate: of the samples, Hz.
        seconds: length of the stretch.
    """
    if step == 0.0:
        return tones, pair
    hidden = [_variance(t, step, sample_rate, seconds) for t in tones]
    widened = tuple(
        replace(t, amplitude_uncertainty=float(np.hypot(t.amplitude_uncertainty, 2.0 * np.sqrt(v))))
        for t, v in zip(tones, hidden, strict=True)
    )
    if pair is None or not any(hidden):
        return widened, pair
    turned = sum(v / t.amplitude**2 for t, v in zip(tones, hidden, strict=True))
    return widened, replace(pair, noise_rad=float(np.hypot(pair.noise_rad, 2.0 * np.sqrt(turned))))


def _variance(tone: ChannelTone, step: float, sample_rate: float, seconds: float) -> float:
    """Variance of the amplitude from quantisation error that does not show as noise."""
    if not tone.present:
        return 0.0
    own = step**2 / 12.0
    seen = (0.5 * tone.amplitude_uncertainty) ** 2 * seconds * sample_rate / 2.0
    dithered = float(np.exp(-4.0 * np.pi**2 * max(0.0, seen - DITHER_NOISE * own) / step**2))
    bent = (AMPLITUDE_ERROR * step) ** 2 * step / tone.amplitude
    repeated = 0.0 if seen > VISIBLE_FRACTION * own else 4.0 * own / _period(tone.frequency_hz, sample_rate, seconds)
    return float(dithered * bent + repeated)


def _period(frequency_hz: float, sample_rate: float, seconds: float) -> float:
    """Samples after which the tone repeats the same values throughout the stretch; infinite if it does not."""
    periods = np.arange(1, min(LONGEST_PERIOD, int(seconds * sample_rate)) + 1)
    turns = periods * frequency_hz / sample_rate
    fits = np.flatnonzero(np.abs(turns - np.rint(turns)) * seconds * sample_rate < 0.5)
    return float(periods[fits[0]]) if len(fits) else float("inf")
