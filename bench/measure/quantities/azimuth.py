"""Azimuth: the delay of the right channel relative to the left.

Formula: delay τ = ψ / (2π f), where ψ is the phase by which the right channel lags and f the frequency over the same
samples; angle = atan(v τ / s) with tape speed v and track spacing s. Positive: the right channel is late. A single tone
leaves the number of whole cycles ambiguous. Several tones resolve it together (`bench.measure.tone.phase_delay`); a
warning lists other delays that fit as well. Each tone has the weight f² × signal-to-noise × time, the information that
it carries about the delay, unless heads or amplifiers add more to the phases than noise does.
Source: geometry; common practice for working upwards in frequency. Weave is the standard deviation of the delay over
time, 0 to 25 Hz, with the contribution of noise removed; it is also included in the uncertainty of the mean.
Unit: µs, arcmin, degrees. Reference: the left channel. A channel of inverted polarity is distinguished from a delay and
reported.
Accuracy: the Cramér-Rao bound of white noise, √(2/K)/(2π f); flutter that both channels share cancels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bench.figures import hertz
from bench.measure.catalogue import LEFT
from bench.measure.method import Method
from bench.measure.reading import Budget, Channel, Contribution, Measured, NoReading, Reading, Result, Source, budget_of
from bench.measure.tone.estimate import PhasePair
from bench.measure.tone.finding.finder import FoundTone
from bench.measure.tone.finding.found_tone import budget, no_tone_heard
from bench.measure.tone.finding.peak_track import is_mains
from bench.measure.tone.meter import HUM_BELOW_DB, CaptureCheck, ToneMeter
from bench.measure.tone.phase_delay import Delay, resolve
from bench.measure.tone.wander import combined
from bench.tape.geometry import angle_arcmin

METHOD = Method("phase between the channels, tracking demodulator")
WEAVE_METHOD = Method("standard deviation of the delay over time, 0-25 Hz, noise taken out")
POLARITY_HZ = 1500.0
"""Up to here half a period is longer than any delay that azimuth can cause, so a tone shows inverted polarity."""
VAGUE_RAD = 0.6
"""A tone whose phase noise leaves this much open (k = 2) says nothing about cycles: it counts only without others."""
COPIED = "both channels carry the same signal: a mono input, or the joint stereo of lossy coding; capture both tracks"


def usable_tones(tones: Sequence[FoundTone]) -> list[FoundTone]:
    """The tones that sound in both channels, each with noise of its own, without hum."""
    both = [t for t in tones if t.pair is not None and not t.pair.copied]
    both = [t for t in both if t.pair is not None and t.pair.noise_rad < VAGUE_RAD] or both
    loudest = max((t.dbfs for t in both), default=0.0)
    return [t for t in both if not (is_mains(t.frequency_hz) and t.dbfs < loudest - HUM_BELOW_DB)]


def azimuth_of_tones(tones: Sequence[FoundTone], *, inverted: bool | None = None) -> Result:
    """`azimuth_delay` in µs from all the tones together.

    Args:
        tones: as found.
        inverted: whether one channel is inverted, if known; a single high tone cannot distinguish that from a delay of
            half a cycle.
    """
    usable = usable_tones(tones)
    if not usable:
        return NoReading("azimuth_delay", "left-right", _why_none(tones), method=METHOD)
    delay = _resolved(usable, inverted=inverted)
    return Reading(
        "azimuth_delay",
        "left-right",
        1e6 * delay.seconds,
        1e6 * delay.uncertainty,
        budget=_of_delay([t.pair for t in usable if t.pair is not None], delay),
        frequency_hz=usable[0].frequency_hz if len(usable) == 1 else None,
        method=replace(
            METHOD,
            tones=len(usable) if len(usable) > 1 else None,
            inverted=delay.inverted,
            polarity_unknown=inverted is None and not shows_polarity(usable),
        ),
        reference=LEFT,
    )


def _why_none(tones: Sequence[FoundTone]) -> str:
    """Why tones of which none is usable show no delay: the end of the sentence "no reading, because …"."""
    if not tones or any(t.pair is not None for t in tones):
        return COPIED if tones else "no tone sounds in both channels"
    loudest = max(tones, key=lambda t: t.dbfs)
    weak: Channel = "right" if loudest.tones[0].present else "left"
    return no_tone_heard(weak)


def shows_polarity(tones: Sequence[FoundTone]) -> bool:
    """Whether one of these tones is low enough to distinguish inverted polarity from a delay."""
    return any(t.frequency_hz <= POLARITY_HZ for t in tones)


def polarity_of(tones: Sequence[FoundTone]) -> bool | None:
    """Whether one channel is inverted, by the tones that are low enough to show it; None without such a tone."""
    low = [t for t in usable_tones(tones) if shows_polarity([t])]
    return _resolved(low).inverted if low else None


def polarity_kept(delay: Reading) -> bool | None:
    """Whether one channel is inverted, as a kept delay says it; None where its tones were too high to show it.

    That one is inverted may also have been known beforehand; then a high tone says so too.
    """
    if delay.method.inverted:
        return True
    by_one_high_tone = not delay.method.tones and (delay.frequency_hz or np.inf) > POLARITY_HZ
    return None if by_one_high_tone or delay.method.polarity_unknown else False


def _resolved(tones: Sequence[FoundTone], *, inverted: bool | None = None) -> Delay:
    """The delay of tones that sound in both channels."""
    balance = [t.tones[1].dbfs - t.tones[0].dbfs for t in tones]
    return resolve([t.pair for t in tones if t.pair is not None], balance_db=balance, inverted=inverted)


def _of_delay(pairs: Sequence[PhasePair], delay: Delay) -> Budget:
    """The uncertainty budget of a delay from several weighted tones, µs."""
    weights = np.array([(p.frequency_hz / max(p.uncertainty_rad, 1e-9)) ** 2 for p in pairs])
    turns = weights / weights.sum() / np.array([2 * np.pi * p.frequency_hz for p in pairs])
    wander = combined([p.wander for p in pairs], list(turns))
    noise = float(np.linalg.norm(turns * np.array([0.5 * p.noise_rad for p in pairs])))
    parts: dict[Source, float] = {
        "noise": noise,
        "ends of the tone": wander.ends,
        "wander": wander.within,
        "slower wander": wander.slower,
        "method": 0.5 * delay.unequal,
    }
    return budget_of(1e6 * delay.uncertainty, parts)


def _of_weave(pair: PhasePair) -> Budget:
    """The uncertainty budget of the weave, µs."""
    own, all_ = (
        0.5e6 * rad / (2 * np.pi * pair.frequency_hz) for rad in (pair.weave_noise_rad, pair.weave_uncertainty_rad)
    )
    others = float(np.sqrt(max(0.0, all_**2 - own**2)))
    return Contribution("noise", own), *((Contribution("other stretches", others),) if others else ())


def phase_of_tone(tone: FoundTone, *, inverted: bool = False) -> Result:
    """`azimuth_phase` of one tone in degrees, -180…180, positive when the right channel is late.

    Args:
        tone: as found.
        inverted: whether one channel is inverted, which is then corrected.
    """
    if tone.pair is None or tone.pair.copied:
        because = COPIED if tone.pair is not None else "the tone does not sound in both channels"
        return NoReading("azimuth_phase", "left-right", because)
    lag = tone.pair.lag_rad - (np.pi if inverted else 0.0)
    return Reading(
        "azimuth_phase",
        "left-right",
        float(np.degrees(np.angle(np.exp(1j * lag)))),
        float(np.degrees(tone.pair.uncertainty_rad)),
        budget=budget(float(np.degrees(tone.pair.noise_rad)), tone.pair.wander.times(180.0 / np.pi)),
        frequency_hz=tone.frequency_hz,
        method=replace(METHOD, inverted=inverted),
        reference=LEFT,
    )


class AzimuthMeter(ToneMeter):
    """`azimuth_delay`, `azimuth_phase`, `azimuth_angle`, `azimuth_weave`. Options: `speed` with `track_spacing`."""

    def conclude(self, tones: Sequence[FoundTone], capture: CaptureCheck) -> Measured:
        """All tones that sound in both channels, combined."""
        angled = self.options.speed is not None
        quantities = ["azimuth_delay", *(["azimuth_angle"] if angled else []), "azimuth_phase", "azimuth_weave"]
        because = ""
        usable = usable_tones(tones)
        if self.channels != 2:
            because = "the capture has one channel, and azimuth is between two"
        elif not tones:
            because = capture.why_nothing()
        elif not usable:
            because = _why_none(tones)
        if because:
            return Measured(tuple(NoReading(q, "left-right", because, method=METHOD) for q in quantities))
        return self._of(usable)

    def _of(self, tones: Sequence[FoundTone]) -> Measured:
        pairs = [t.pair for t in tones if t.pair is not None]
        delay = _resolved(tones)
        reading = azimuth_of_tones(tones)
        readings: list[Result] = [reading]
        spacing, speed = self.options.track_spacing, self.options.speed
        if spacing is not None and speed is not None and isinstance(reading, Reading):
            readings.append(
                Reading(
                    "azimuth_angle",
                    "left-right",
                    float(angle_arcmin(reading.value, spacing, speed)),
                    float(angle_arcmin(reading.uncertainty, spacing, speed)),
                    budget=budget_of(
                        float(angle_arcmin(reading.uncertainty, spacing, speed)),
                        {c.source: c.value for c in reading.budget},
                    ),
                    frequency_hz=reading.frequency_hz,
                    method=replace(reading.method, speed_mm_s=speed, track_spacing_mm=spacing),
                    reference=LEFT,
                )
            )
        readings += [phase_of_tone(t, inverted=delay.inverted) for t in tones]
        best = max(pairs, key=lambda p: p.frequency_hz / p.uncertainty_rad)
        turn = 2 * np.pi * best.frequency_hz
        readings.append(
            Reading(
                "azimuth_weave",
                "left-right",
                1e6 * best.weave_rad / turn,
                1e6 * best.weave_uncertainty_rad / turn,
                budget=_of_weave(best),
                frequency_hz=best.frequency_hz,
                method=WEAVE_METHOD,
                reference=LEFT,
            )
        )
        return Measured(tuple(readings), tuple(_said(delay, pairs, polarity=shows_polarity(tones))))


def _said(delay: Delay, pairs: Sequence[PhasePair], *, polarity: bool) -> list[str]:
    """The warnings that a delay calls for."""
    out = []
    if delay.inverted:
        out.append("one channel's polarity is inverted: that is taken out of delay and phase; check the wiring")
    elif not polarity:
        low = f"without a tone of {hertz(POLARITY_HZ)} or lower"
        out.append(f"polarity is not known {low}: if one channel is inverted, the delay is wrong by half a period")
    if not delay.suits:
        out.append("no single delay suits all tones: the channels' phases differ by more than azimuth")
    if len(pairs) == 1:
        period = 1e6 / pairs[0].frequency_hz
        out.append(f"one tone only: the delay may be wrong by whole periods of {period:.1f} µs; play a lower one too")
    elif delay.others:
        others = ", ".join(f"{1e6 * d:.1f} µs" for d in delay.others[:3])
        out.append(f"the delay is ambiguous: {others} would fit the tones as well; play a lower tone to resolve it")
    return out
