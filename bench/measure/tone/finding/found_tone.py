"""A steady tone that was found: its time, level, frequency and interchannel phase."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bench.figures import hertz
from bench.measure.catalogue import FULL_SCALE, QUANTITIES
from bench.measure.method import Method
from bench.measure.reading import Budget, Channel, Contribution, NoReading, Reading, Result
from bench.measure.tone.estimate import ChannelTone, PhasePair
from bench.measure.tone.wander import NONE, Wander, combined, evidence, with_evidence

LEVEL_METHOD = Method("mean level of the steady tone, tracking demodulator")


@dataclass(frozen=True, slots=True)
class FoundTone:
    """A steady tone that was found and measured."""

    start_s: float
    """Start of the steady stretch, after the attack, from the start of the stream."""
    end_s: float
    frequency_hz: float
    """Measured frequency: the mean of the channels that hold it, weighted by power."""
    frequency_uncertainty_hz: float
    """Expanded (k = 2), like all uncertainties here."""
    tones: tuple[ChannelTone, ...]
    """One for each channel; `present` is false if the channel does not hold the tone."""
    pair: PhasePair | None
    """The right channel relative to the left, if both hold the tone."""

    @property
    def duration_s(self) -> float:
        """Length of the steady stretch."""
        return self.end_s - self.start_s

    @property
    def dbfs(self) -> float:
        """Level of the louder channel, dB re a full-scale sine."""
        return max(t.dbfs for t in self.tones)

    @property
    def levels(self) -> tuple[Result, ...]:
        """The level of each channel in dBFS, or no reading if a channel does not hold the tone."""
        return tuple(self.level(c) for c in range(len(self.tones)))

    def level(self, channel: int, asked_hz: float | None = None) -> Result:
        """The level of one channel, with the requested frequency as its frequency if there is one."""
        tone, side = self.tones[channel], side_of(channel, len(self.tones))
        hz = self.frequency_hz if asked_hz is None else asked_hz
        if not tone.present:
            return NoReading("level", side, no_tone_heard(side, hz), frequency_hz=hz)
        return Reading(
            "level",
            side,
            tone.dbfs,
            tone.dbfs_uncertainty,
            budget=budget(tone.dbfs_noise, tone.level_wander),
            frequency_hz=hz,
            method=LEVEL_METHOD,
            reference=FULL_SCALE,
        )

    @property
    def balance(self) -> Result | None:
        """Left minus right, dB; None for one channel."""
        if len(self.tones) != 2:
            return None
        left, right = self.tones
        if not (left.present and right.present):
            side: Channel = "right" if left.present else "left"
            return NoReading("balance", "left-right", no_tone_heard(side), frequency_hz=self.frequency_hz)
        noise = float(np.hypot(left.dbfs_noise, right.dbfs_noise))
        wander = self.pair.balance_wander if self.pair else NONE
        return Reading(
            "balance",
            "left-right",
            left.dbfs - right.dbfs,
            float(np.hypot(noise, 2.0 * wander.total)),
            budget=budget(noise, wander),
            frequency_hz=self.frequency_hz,
            method=replace(LEVEL_METHOD, difference="left minus right"),
            reference=QUANTITIES["balance"].relative_to,
        )


def budget(noise: float, wander: Wander) -> Budget:
    """The uncertainty budget of a mean.

    Args:
        noise: expanded (k = 2).
        wander: the contributions of wander.
    """
    out = [Contribution("noise", 0.5 * noise)]
    if wander.total:
        out += [
            Contribution("ends of the tone", wander.ends),
            *([Contribution("dropouts", wander.dropouts)] if wander.dropouts else []),
            Contribution("wander", wander.within),
            Contribution("slower wander", wander.slower),
        ]
    return tuple(out)


def no_tone_heard(side: Channel, hz: float | None = None) -> str:
    """Why a channel without the tone has no reading: the end of the sentence "no reading, because …"."""
    of = f" of {hertz(hz)}" if hz is not None else ""
    return f"no tone{of} is heard" + (f" on the {side} channel" if side != "mono" else "")


def side_of(channel: int, channels: int) -> Channel:
    """The name of a channel."""
    return "mono" if channels == 1 else ("left", "right")[channel]


def of_one_machine(tones: Sequence[FoundTone]) -> list[FoundTone]:
    """The tones, after all of them have shown the law by which levels and delays of their machine wander."""
    levels = [evidence([t.level_wander for t in f.tones]) for f in tones]
    delays = [evidence([f.pair.wander] if f.pair else []) for f in tones]
    level, delay = (sum(x, np.zeros(1)) for x in (levels, delays))
    out = []
    for tone, of_levels, of_delay in zip(tones, levels, delays, strict=True):
        channels = [
            replace(t, level_wander=with_evidence(t.level_wander, level - evidence([t.level_wander]))[1])
            for t in tone.tones
        ]
        pair = tone.pair
        if pair is not None:
            off, wander = with_evidence(pair.wander, delay - of_delay, plain=False)
            balance = with_evidence(pair.balance_wander, level - of_levels)[1]
            pair = replace(pair, lag_rad=pair.lag_rad + off, wander=wander, balance_wander=balance)
        out.append(replace(tone, tones=tuple(channels), pair=pair))
    return out


def joined(parts: Sequence[FoundTone]) -> FoundTone:
    """One tone from its consecutive parts, weighted by their lengths."""
    if len(parts) == 1:
        return parts[0]
    seconds = np.array([p.duration_s for p in parts])
    middles = np.array([(p.start_s + p.end_s) / 2 for p in parts])
    share = seconds / seconds.sum()
    end, start = parts[-1].end_s, parts[0].start_s

    def spread(values: Sequence[float]) -> float:
        return float(np.sqrt(np.sum((share * np.array(values)) ** 2)))

    def together(wanders: Sequence[Wander]) -> Wander:
        return combined(wanders, list(share))

    tones = []
    for c in range(len(parts[0].tones)):
        own = [p.tones[c] for p in parts]
        hz = np.array([t.frequency_hz for t in own])
        level = float(np.sum(share * [t.amplitude for t in own]))
        slope = np.polyfit(middles, hz, 1, w=np.sqrt(seconds))[0] * (end - start) if len(parts) > 2 else hz[-1] - hz[0]
        rest = float(np.std(hz)) / np.sqrt(len(parts))
        tones.append(
            ChannelTone(
                amplitude=level,
                amplitude_uncertainty=spread([t.amplitude_uncertainty for t in own]),
                frequency_hz=float(np.sum(share * hz)),
                frequency_noise_hz=spread([t.frequency_noise_hz for t in own]),
                drift_hz=float(slope),
                drift_uncertainty_hz=2.0 * float(np.sqrt(12.0)) * rest,
                present=sum(t.present for t in own) > len(own) / 2,
                level_wander=together([t.level_wander for t in own]),
                frequency_wander=together([t.frequency_wander for t in own]),
            )
        )
    pairs = [p.pair for p in parts if p.pair is not None]
    pair = None
    if len(pairs) == len(parts):
        turns = np.exp(1j * np.array([q.lag_rad for q in pairs]))
        mean = complex(np.sum(share * turns))
        off = np.angle(turns / mean)
        pair = PhasePair(
            lag_rad=float(np.angle(mean)),
            noise_rad=spread([q.noise_rad for q in pairs]),
            frequency_hz=float(np.sum(share * [q.frequency_hz for q in pairs])),
            weave_rad=float(np.sqrt(np.sum(share * (np.array([q.weave_rad for q in pairs]) ** 2 + off**2)))),
            weave_noise_rad=spread([q.weave_noise_rad for q in pairs]),
            weave_uncertainty_rad=spread([q.weave_uncertainty_rad for q in pairs]),
            wander=together([q.wander for q in pairs]),
            balance_wander=together([q.balance_wander for q in pairs]),
            copied=all(q.copied for q in pairs),
        )
    return FoundTone(
        start,
        end,
        float(np.sum(share * [p.frequency_hz for p in parts])),
        spread([p.frequency_uncertainty_hz for p in parts]),
        tuple(tones),
        pair,
    )
