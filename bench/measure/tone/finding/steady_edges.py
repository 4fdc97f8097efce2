"""The exact ends of a steady stretch, within which the filter contains nothing but the tone.

A frame of 16 ms is too coarse: the level would include the end of an attack, or part of the tone would be lost.
"""

from __future__ import annotations

import numpy as np

from bench.arrays import Complexes, Floats
from bench.measure.tone.baseband import median

NEIGHBOURHOOD_S = 0.06
"""The level and frequency of a tone near its edge are averaged over this time; our own choice."""
LOW_HZ = 600.0
"""Below this, DC and the tone's image lie within the baseband."""
MARGIN = 5
"""Points excluded after the last visible deviation: the step response of the filter settles within them."""
DECADES = 2.0
"""An attack continues below the noise: it is extrapolated over this many more decades at its last rate."""
RATE_RATIO, RATE_FROM, MOST_EXCLUDED = 10.0, 0.5, 0.1
"""That rate is measured from where the deviation was this many times larger, but at most this fraction of the level; at
most this fraction of the stretch is excluded for it."""


def exact(
    z: Complexes, rate: float, about: tuple[int, int], frame: int, *, tone_hz: float, oscillator_hz: float
) -> tuple[int, int]:
    """Refine the ends of a stretch.

    Args:
        z: baseband of the loudest channel: the stretch and its surroundings.
        rate: points per second.
        about: its first point and the point after its last, according to the frames.
        frame: points per frame, the uncertainty of `about`.
        tone_hz: approximate frequency of the tone.
        oscillator_hz: the frequency that was shifted to zero.

    Returns:
        First point and the point after the last.
    """
    first, last = about
    reach = 2 * frame + round(0.02 * rate)
    inside = round(NEIGHBOURHOOD_S * rate) + reach
    if last - first < 4 * frame:
        return first, last
    most = round(MOST_EXCLUDED * (last - first))
    low, high = max(0, first - reach), min(len(z), first + inside + reach)
    forth = _clean(z[low:high], rate, tone_hz, oscillator_hz)
    start = low + _begin(*forth, rate, about=first - low, reach=reach, tone_hz=tone_hz, most=most)
    low, high = max(0, last - inside - reach), min(len(z), last + reach)
    back = _clean(np.conj(z[low:high][::-1]), rate, tone_hz, oscillator_hz)
    stop = high - _begin(*back, rate, about=high - last, reach=reach, tone_hz=tone_hz, most=most)
    return start, stop


def _clean(z: Complexes, rate: float, tone_hz: float, oscillator_hz: float) -> tuple[Complexes, Floats]:
    """The signal without DC and the tone's image, shifted so that the tone is near zero frequency; and its envelope."""
    t = np.arange(len(z)) / rate
    turn = np.exp(-2j * np.pi * (tone_hz - oscillator_hz) * t)
    if tone_hz > LOW_HZ:
        return np.asarray(z * turn), np.abs(z)
    columns = [
        np.exp(2j * np.pi * (tone_hz - oscillator_hz) * t),
        np.exp(-2j * np.pi * (tone_hz + oscillator_hz) * t),
        np.exp(-2j * np.pi * oscillator_hz * t),
    ]
    design = np.stack(columns, axis=1)
    middle = slice(len(z) // 4, None)
    values = np.linalg.lstsq(design[middle], z[middle], rcond=None)[0]
    # Before the tone there is no image to subtract, so the envelope is taken from tone and image over a period.
    both, signal = design[:, :2] @ values[:2], z - design[:, 2] * values[2]
    period = np.ones(max(1, round(rate / tone_hz)))
    there = np.convolve(np.real(np.conj(both) * signal), period, mode="same")
    whole = np.convolve(np.abs(both) ** 2, period, mode="same")
    envelope = np.abs(values[0]) * there / (whole + 1e-30)
    return np.asarray((z - design[:, 1:] @ values[1:]) * turn), np.asarray(envelope)


def _begin(z: Complexes, envelope: Floats, rate: float, *, about: int, reach: int, tone_hz: float, most: int) -> int:
    """First point of a tone that starts near `about` and continues to the end of `z`."""
    level = np.abs(z)
    step = np.concatenate([np.zeros(2), np.angle(z[4:] * np.conj(z[:-4])), np.zeros(2)]) * rate / (8 * np.pi)
    inside = slice(min(about + reach, len(z) - 8), len(z) - 2)
    a, a_spread = _middle(level[inside])
    f, f_spread = _middle(step[inside])
    if 4.5 * a_spread > 0.3 * a:
        return about
    seen = max(0.01 * a, 4.5 * a_spread)
    slow = np.flatnonzero(np.abs(level[: about + reach] - a) > seen)
    turning = np.flatnonzero(np.abs(step[: about + reach] - f) > max(0.3, 0.004 * tone_hz, 4.5 * f_spread))
    if not len(slow) and not len(turning):
        return max(0, about - reach)
    last = int(max([*slow[-1:], *turning[-1:]]))
    far = min(RATE_RATIO * seen, RATE_FROM * a)
    before = np.flatnonzero(np.abs(envelope[: slow[-1] + 1] - a) > far) if len(slow) else slow
    if len(before):
        pace = (slow[-1] - before[-1]) / np.log10(far / seen)
        last = max(last, int(slow[-1]) + min(most, round(DECADES * pace)))
    return last + 1 + MARGIN


def _middle(x: Floats) -> tuple[float, float]:
    """Median and a robust estimate of the standard deviation."""
    middle = median(x)
    return middle, 1.4826 * median(np.abs(x - middle))
