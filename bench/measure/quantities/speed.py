"""Speed error of a tape, from a tone recorded at a known frequency.

Formula: speed_error = 100 (f / f_nominal - 1) %, positive when the tape runs fast; speed_drift = the speed at the end
of the tone minus the speed at its start, from a fitted straight line. Reference: the nominal frequency and the clock of
the sound interface, whose own error (tens of parts per million) is not included in the uncertainty. It is the mean
speed during the tone: flutter with a period longer than the tone cannot be separated from it.
Source: IEC 60386 measures with 3150 Hz; 3000 Hz is used by JIS and NAB (from memory).
Accuracy: near the Cramér-Rao bound, √(12/K)/(2π T f), with distinct flutter components removed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bench.figures import hertz
from bench.measure.method import Method
from bench.measure.reading import Budget, Contribution, Measured, NoReading, Reading, ReferenceTone, Result
from bench.measure.tone.estimate import ChannelTone
from bench.measure.tone.finding.finder import FoundTone, side_of
from bench.measure.tone.finding.found_tone import budget, no_tone_heard
from bench.measure.tone.meter import CaptureCheck, ToneMeter, dominant, nearest

METHOD = Method("slope of the tracked phase, least squares")
DRIFT_METHOD = Method("straight line through the frequency, end minus start")
DRIFT_ENDS = 6.0
"""Sensitivity of a drift to the ends of a tone relative to that of its mean; the ends determine a slope."""
USUAL_HZ = (3150.0, 3000.0)
"""The tones recorded for measuring speed."""
OTHER_HZ = (1000.0, 315.0, 400.0, 333.0, 500.0, 440.0, 700.0, 6300.0, 8000.0, 10000.0, 12500.0, 2000.0, 4000.0, 5000.0)
"""Tones recorded on tapes for other purposes."""
DOUBTFUL = 0.024
"""Half the step from 3000 to 3150 Hz: with a larger error the tone may be meant for the other of the two."""
WRONG = 0.035
"""With a larger error than this, the tone is taken for the other of the two."""


def speed_of_tone(tone: FoundTone, nominal_hz: float, *, method: Method = METHOD) -> list[Result]:
    """`speed_error` of each channel, %.

    Args:
        tone: as found.
        nominal_hz: the recorded frequency.
        method: method of the reading.
    """
    out: list[Result] = []
    for c, t in enumerate(tone.tones):
        side = side_of(c, len(tone.tones))
        if not t.present:
            out.append(NoReading("speed_error", side, no_tone_heard(side, nominal_hz), frequency_hz=nominal_hz))
            continue
        out.append(
            Reading(
                "speed_error",
                side,
                100.0 * (t.frequency_hz / nominal_hz - 1.0),
                100.0 * t.frequency_uncertainty_hz / nominal_hz,
                budget=budget(100.0 * t.frequency_noise_hz / nominal_hz, t.frequency_wander.times(100.0 / nominal_hz)),
                frequency_hz=nominal_hz,
                method=method,
                reference=ReferenceTone(nominal_hz),
            )
        )
    return out


def drift_of_tone(tone: FoundTone, nominal_hz: float) -> list[Result]:
    """`speed_drift` of each channel: end minus start of the tone, % of nominal."""
    out: list[Result] = []
    for c, t in enumerate(tone.tones):
        side = side_of(c, len(tone.tones))
        if not t.present:
            out.append(NoReading("speed_drift", side, no_tone_heard(side, nominal_hz), frequency_hz=nominal_hz))
            continue
        out.append(
            Reading(
                "speed_drift",
                side,
                100.0 * t.drift_hz / nominal_hz,
                100.0 * t.drift_uncertainty_hz / nominal_hz,
                budget=_of_drift(t, nominal_hz),
                frequency_hz=nominal_hz,
                method=replace(DRIFT_METHOD, seconds=tone.duration_s),
                reference=ReferenceTone(nominal_hz),
            )
        )
    return out


def _of_drift(tone: ChannelTone, nominal_hz: float) -> Budget:
    """The uncertainty budget of a drift, %; a speed that wanders also drifts at random."""
    whole = 50.0 * tone.drift_uncertainty_hz / nominal_hz
    if not tone.frequency_wander.total:
        return (Contribution("noise", whole),)
    ends = min(whole, 100.0 * DRIFT_ENDS * tone.frequency_wander.ends / nominal_hz)
    return Contribution("ends of the tone", ends), Contribution("wander", float(np.sqrt(whole**2 - ends**2)))


class SpeedMeter(ToneMeter):
    """`speed_error` and `speed_drift` of each channel. Options: `nominal`."""

    def conclude(self, tones: Sequence[FoundTone], capture: CaptureCheck) -> Measured:
        """Speed from the tone nearest to the nominal frequency, or if none is given, from the usual speed tone."""
        nominal, method, warnings = self.options.nominal, METHOD, []
        if nominal is not None and nominal >= self.sample_rate / 2:
            return self._nothing(f"{hertz(nominal)} is above half the sample rate of {hertz(self.sample_rate)}")
        if not tones:
            return self._nothing(capture.why_nothing())
        if nominal is not None:
            takes = nearest(tones, nominal)
            if not takes:
                there = ", ".join(f"{t.frequency_hz:.1f} Hz" for t in tones[:5])
                return self._nothing(f"no steady tone near {hertz(nominal)} was found, only {there}")
            tone = dominant(takes)
            other, off = _other(tone.frequency_hz, nominal)
            if other is not None and abs(off) > WRONG:
                return self._nothing(
                    f"the tone of {tone.frequency_hz:.1f} Hz is not one of {hertz(nominal)} but fits {hertz(other)}: "
                    f"name it with --nominal {other:g}"
                )
            if other is not None and abs(off) > DOUBTFUL:
                warnings.append(
                    f"the tone of {tone.frequency_hz:.1f} Hz fits {hertz(other)} better than {hertz(nominal)}: see "
                    "which is recorded on the tape"
                )
        else:
            tone = _speed_tone(tones)
            assumed = assume_nominal(tone.frequency_hz)
            if assumed is None:
                return self._nothing(
                    f"the tone of {tone.frequency_hz:.1f} Hz may be meant for "
                    + ("3 kHz or 3.15 kHz" if 2900 < tone.frequency_hz < 3250 else "any frequency")
                    + ": name it with --nominal"
                )
            nominal, method = assumed, replace(METHOD, assumed_hz=assumed)
        readings = speed_of_tone(tone, nominal, method=method) + drift_of_tone(tone, nominal)
        return Measured(tuple(readings), tuple(warnings))

    def _nothing(self, because: str) -> Measured:
        hz = self.options.nominal
        return Measured(
            tuple(
                NoReading(quantity, side, because, frequency_hz=hz, method=METHOD)
                for quantity in ("speed_error", "speed_drift")
                for side in self.sides
            )
        )


def _other(hz: float, nominal: float) -> tuple[float | None, float]:
    """The other of 3000 and 3150 Hz if it fits better than the one named, and the error from the one named."""
    off = hz / nominal - 1.0
    if nominal not in USUAL_HZ:
        return None, off
    other = USUAL_HZ[1 - USUAL_HZ.index(nominal)]
    return (other if abs(hz / other - 1.0) < abs(off) else None), off


def _speed_tone(tones: Sequence[FoundTone]) -> FoundTone:
    """The tone recorded for measuring speed: near 3000 or 3150 Hz if there is one, or else the dominant tone."""
    near = [t for t in tones if any(abs(t.frequency_hz / hz - 1.0) < 0.05 for hz in USUAL_HZ)]
    return dominant(near or tones)


def assume_nominal(hz: float) -> float | None:
    """The usual frequency nearest to a tone; None if two are about equally near, or if none is near."""
    off = {n: abs(float(np.log(hz / n))) for n in (*USUAL_HZ, *OTHER_HZ)}
    best = min(off, key=lambda n: off[n])
    if off[best] > 0.04:
        return None
    second = min(v for n, v in off.items() if n != best)
    return best if off[best] < 0.4 * second else None
