"""Response: the level of each tone relative to the level at the reference frequency, per channel.

Formula: response(f) = [L(f) - n(f)] - [L(r) - n(r)] dB, where L are the measured levels, n the nominal levels of a
reference tape's sheet (all equal without one) and r is the reference frequency. Tones may be in any order, between
speech and gaps, and at a wrong speed. If there are several takes of a tone, a warning lists them, and the one with the
smallest uncertainty of level counts. A tone at a mains frequency that sounds together with other tones is hum.
Unit: dB; reference: the level at the reference frequency.
Source: AES17 for the levels; the service manual or the tape specifies the reference tone (315, 400 or 1000 Hz by common
practice).
Accuracy: as for `level`; the uncertainty is the root sum of squares of both tones' uncertainties.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bench.figures import hertz
from bench.measure.reading import Budget, Measured, NoReading, Reading, ReferenceTone, Result
from bench.measure.tone.estimate import ChannelTone
from bench.measure.tone.finding.finder import LEVEL_METHOD, FoundTone
from bench.measure.tone.finding.found_tone import budget, no_tone_heard
from bench.measure.tone.matching import Match, match_list, match_sheet
from bench.measure.tone.meter import NO_TONE, CaptureCheck, ToneMeter
from bench.measure.tone.wander import combined

USUAL_REFERENCES = (1000.0, 315.0, 400.0, 333.0, 500.0, 700.0)
"""The first of these that is present is used if none is named; common practice, no source."""


class ResponseMeter(ToneMeter):
    """`response` of each tone and channel. Options: `frequencies` or `sheet`, `reference_frequency`."""

    def conclude(self, tones: Sequence[FoundTone], capture: CaptureCheck) -> Measured:
        """Match the tones, then compute the level of each relative to the reference."""
        options = self.options
        if options.sheet:
            asked = list(dict.fromkeys(hz for hz, _ in options.sheet))
        elif options.frequencies:
            asked = list(options.frequencies)
        else:
            asked = _own_frequencies(tones)
        if not asked:
            because = capture.why_nothing()
            return Measured(tuple(NoReading("response", s, because) for s in self.sides))
        reference = options.reference_frequency or usual_reference(asked)
        wanted = asked if any(_same(reference, hz) for hz in asked) else [*asked, reference]
        if options.sheet:
            matched, warnings = match_sheet(tones, options.sheet, reference)
        else:
            matched, warnings = match_list(tones, wanted)
        zero = next((m for hz, m in matched.items() if _same(reference, hz)), Match())
        readings: list[Result] = []
        for hz in asked:
            match = matched.get(hz, Match())
            because = self._why_not(hz, match, reference, zero, capture)
            for c, side in enumerate(self.sides):
                if because or match.tone is None or zero.tone is None:
                    of = ReferenceTone(reference)
                    readings.append(NoReading("response", side, because, frequency_hz=hz, reference=of))
                else:
                    readings.append(self._one(c, hz, match, reference, zero))
        return Measured(tuple(readings), tuple(warnings))

    def _why_not(self, hz: float, match: Match, reference: float, zero: Match, capture: CaptureCheck) -> str:
        for what, f in ((hertz(hz), hz), (f"the reference frequency of {hertz(reference)}", reference)):
            if f >= self.sample_rate / 2:
                return f"{what} is above half the sample rate of {hertz(self.sample_rate)}"
        if zero.tone is None:
            nothing = capture.why_nothing()
            if nothing != NO_TONE:
                return nothing
            return zero.reason or f"the reference tone of {hertz(reference)} was not found"
        return (match.reason or f"no tone of {hertz(hz)} was found") if match.tone is None else ""

    def _one(self, c: int, hz: float, match: Match, reference: float, zero: Match) -> Result:
        of, side = ReferenceTone(reference), self.sides[c]
        assert match.tone is not None
        assert zero.tone is not None
        here, there = match.tone.tones[c], zero.tone.tones[c]
        if not (here.present and there.present):
            because = no_tone_heard(side, reference if here.present else hz)
            return NoReading("response", side, because, frequency_hz=hz, reference=of)
        same = match.tone is zero.tone
        return Reading(
            "response",
            side,
            0.0 if same else (here.dbfs - match.nominal_db) - (there.dbfs - zero.nominal_db),
            0.0 if same else float(np.hypot(here.dbfs_uncertainty, there.dbfs_uncertainty)),
            budget=() if same else _of_both(here, there),
            frequency_hz=hz,
            method=replace(LEVEL_METHOD, nominal_levels_removed=bool(self.options.sheet)),
            reference=of,
        )


def _of_both(here: ChannelTone, there: ChannelTone) -> Budget:
    """The uncertainty budget of the difference of two levels."""
    wander = combined((here.level_wander, there.level_wander), (1.0, 1.0))
    return budget(float(np.hypot(here.dbfs_noise, there.dbfs_noise)), wander)


def usual_reference(frequencies: Sequence[float]) -> float:
    """The reference frequency if none is named: a usual one that is present, otherwise the one nearest to 1000 Hz."""
    for usual in USUAL_REFERENCES:
        for hz in frequencies:
            if abs(hz / usual - 1.0) < 0.06 and hz == min(frequencies, key=lambda f: abs(np.log(f / usual))):
                return hz
    return min(frequencies, key=lambda f: abs(np.log(f / 1000.0)))


def _own_frequencies(tones: Sequence[FoundTone]) -> list[float]:
    """The frequencies found, each once, lowest first."""
    out: list[float] = []
    for hz in sorted(t.frequency_hz for t in tones):
        if not out or hz / out[-1] > 1.01:
            out.append(hz)
    return out


def _same(a: float, b: float) -> bool:
    return abs(a / b - 1.0) < 1e-6
