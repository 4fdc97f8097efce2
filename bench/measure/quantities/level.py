"""Level of the steady tone, wherever it lies in the capture.

Formula: level = 20 lg A dBFS, where A is the mean peak amplitude of the tone over its steady stretch, full scale = 1;
balance = left minus right, dB. A sine whose peaks reach full scale is 0 dBFS (AES17). Speech, gaps, hum, hiss, DC and
harmonics are not part of it. If the level wanders, its mean over the stretch is given.
Unit: dBFS; balance in dB. Source: AES17 for the reference; the tracking demodulator is common practice, no source.
Accuracy: the Cramér-Rao bound of white noise (8.686/√K dB, K = samples × SNR of one sample), and 0.0005 dB under
flutter of 0.3 % and a speed error. Attacks and fades are excluded. Hum that cannot be separated from a tone near a
mains frequency is included in the uncertainty, to the extent that it is seen before or after the tone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bench.figures import hertz
from bench.measure.reading import Channel, Measured, NoReading
from bench.measure.tone.finding.finder import LEVEL_METHOD, FoundTone
from bench.measure.tone.meter import CaptureCheck, ToneMeter, dominant, nearest, tone_text


class LevelMeter(ToneMeter):
    """`level` of each channel and `balance`. Options: `frequency`."""

    def conclude(self, tones: Sequence[FoundTone], capture: CaptureCheck) -> Measured:
        """The level of the requested tone, or of the one with the most energy."""
        asked = self.options.frequency
        if asked is not None and asked >= self.sample_rate / 2:
            return self._nothing(f"{hertz(asked)} is above half the sample rate of {hertz(self.sample_rate)}")
        if not tones:
            return self._nothing(capture.why_nothing())
        warnings: list[str] = []
        if asked is not None:
            takes = nearest(tones, asked)
            if not takes:
                there = ", ".join(f"{t.frequency_hz:.1f} Hz" for t in tones[:5])
                return self._nothing(f"no steady tone near {hertz(asked)} was found, only {there}")
        else:
            takes = nearest(tones, dominant(tones).frequency_hz)
            others = [t for t in tones if t not in takes]
            if others:
                warnings.append(
                    f"the tone with the most energy was measured, {tone_text(takes[0])}; there is also "
                    f"{tone_text(others[0])}{' and more' if len(others) > 1 else ''}: name one with --frequency"
                )
        tone = dominant(takes)
        if len(takes) > 1:
            other = next(t for t in takes if t is not tone)
            warnings.append(
                f"of {len(takes)} takes the one with the most energy was measured, {tone_text(tone)}, "
                f"not {tone_text(other)}"
            )
        readings = [tone.level(c, asked) for c in range(self.channels)]
        balance = tone.balance
        if balance is not None:
            readings.append(balance if asked is None else replace(balance, frequency_hz=asked))
        return Measured(tuple(readings), tuple(warnings))

    def _nothing(self, because: str) -> Measured:
        asked: list[tuple[str, Channel]] = [("level", side) for side in self.sides]
        if self.channels == 2:
            asked.append(("balance", "left-right"))
        hz = self.options.frequency
        return Measured(tuple(NoReading(q, c, because, frequency_hz=hz, method=LEVEL_METHOD) for q, c in asked))
