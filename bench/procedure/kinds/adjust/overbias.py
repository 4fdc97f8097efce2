"""Guided over-bias, live: start well below the peak, find it, and go past it by the number of dB in the sheet."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from bench.figures import hertz, number
from bench.measure.reading import Channel, NoReading, Result
from bench.measure.verdict import Verdict
from bench.procedure.kinds.adjust.bias_peak import BiasPeak
from bench.procedure.state.snapshot import Curve

STRIDE = 12.0
"""Degrees of a turn towards the start or the peak: less than 1 dB of bias on most trimmers. A choice."""

DOWN_STRIDE = 18.0
"""Degrees of a turn back to the start below the peak. A choice."""

NEAR_STRIDE = 6.0
"""Degrees of a turn near the peak and past it, where the curve must be known best. A choice."""

LEAST_TURN = 1.0
"""Smallest turn that is proposed, degrees. A choice."""

USUAL_SLOPE = 0.05
"""Change of treble per degree, dB, assumed until it is known. A choice."""

LEAST_SLOPE = 0.005
"""Smallest credible change of treble per degree, dB: a trimmer that does less is the wrong trimmer. A choice."""

FRONT_DB = 0.3
"""When treble is within this of the lowest that was read, the trimmer is as far as the sweep went. A choice."""

WIDE_DB = 3.0
"""Change of treble over which its slope is taken; the play of a trimmer is worth up to 1.5 dB. A choice."""

FAR_DB = 1.5
"""The long stride is used while the level has more than this still to fall. A choice."""

SURE_DB = 0.5
"""Change of treble from which a new slope replaces the known one: a smaller change may be play. A choice."""

STEEP_DB = 0.4
"""After a turn that raised the level by more than this, the peak is still far away. A choice."""

BETWEEN_DB = 0.1
"""Change of treble or level after which another point of the curve is taken."""


@dataclass(slots=True)
class OverbiasGuide:
    """Guides one channel past its peak."""

    hz: float
    """Frequency of the tone that is judged."""
    peak: BiasPeak = field(default_factory=BiasPeak)
    curve: list[tuple[float, float]] = field(default_factory=list)
    """(degrees, or count where they are not known; level)."""
    _last: tuple[float, float] | None = None
    _at: list[tuple[float, float]] = field(default_factory=list)
    """(degrees, treble) of steady readings, where degrees are known."""
    _way: float = 0.0
    """Sense of turn that raises bias, as last seen; 0 while it is not known."""
    _per_degree: float = USUAL_SLOPE
    """Change of treble per degree, dB, as last seen."""

    @property
    def tone(self) -> str:
        """The tone in words: "10 kHz"."""
        return hertz(self.hz)

    def add_steady(self, level: float, treble: float, degrees: float | None) -> None:
        """Add a steady reading, taken after the head delay."""
        if degrees is not None and (not self._at or abs(degrees - self._at[-1][0]) > LEAST_TURN / 2):
            self._at.append(
                (degrees, treble)
            )  # a turn within the trimmer's play counts as made, although nothing changed
        if self._last is not None and max(abs(level - self._last[0]), abs(treble - self._last[1])) < BETWEEN_DB:
            return
        self._last = (level, treble)
        self.peak.add(level, treble)
        self.curve.append((degrees if degrees is not None else float(len(self.curve)), level))

    def reading(self, level: Result) -> Result:
        """Over-bias: how far the level has fallen past the peak; no reading before the peak is passed."""
        reference = f"the peak of {self.tone}"
        if isinstance(level, NoReading):
            return replace(level, quantity="overbias", reference=reference)
        if not self.curve or self.peak.stage != "past":
            if not self.curve:
                because = "the peak is not found yet"
            elif self.peak.stage == "below":
                because = "bias has not been well below the peak yet"
            elif self.peak.found:
                because = f"bias is below the peak of {number(self.peak.top()[0], 1)} dBFS"
            else:
                because = "the peak is not passed yet"
            return NoReading("overbias", level.channel, because, frequency_hz=level.frequency_hz, reference=reference)
        top, spread = self.peak.top()
        return replace(
            level,
            quantity="overbias",
            value=top - level.value,
            uncertainty=math.hypot(level.uncertainty, spread),
            reference=reference,
            method=replace(level.method, name=f"fall past the peak as bias is raised, {level.method.name}"),
        )

    def direction(self) -> str:
        """What to do before the peak is passed."""
        if self.peak.stage == "below":
            if self._treble_falls():
                return "turn the other way"
            return "less bias: start below the peak"
        if self.peak.found:
            return "raise bias, back past the peak"
        return "the other way: raise bias" if self._treble_rises() else "raise bias, past the peak"

    def turn(self, fall: float, now: float | None) -> float | None:
        """How far to turn from here, degrees clockwise; None where degrees are not known, or the turn has been made.

        Args:
            fall: how far the tone is to fall past its peak, dB. Once a sweep has gone that far, the turn goes there
                directly; until then it goes on from the highest bias that was read, and never repeats a swept range.
            now: present position of the trimmer, degrees; it may be ahead of the last steady reading.
        """
        if not self._at or now is None:
            return None
        swept = [d for d, _ in self._at]
        aim = self._at[-1][0] + self._step(fall)
        rest = max(min(swept) - DOWN_STRIDE, min(max(swept) + DOWN_STRIDE, aim)) - now
        return rest if abs(rest) > LEAST_TURN / 2 else None

    def _step(self, fall: float) -> float:
        """The turn from the last steady reading."""
        way, (here, treble) = self._more_bias(), self._at[-1]
        if self.peak.stage == "below":
            return -way * DOWN_STRIDE if way else STRIDE
        wanted = self.peak.treble_past(fall) if self.peak.found else None
        if wanted is None:
            furthest, least = min(self._at, key=lambda at: at[1])
            back = furthest - here if treble > least + FRONT_DB else 0.0
            return back + (way or 1.0) * (STRIDE if self._is_far(fall) else NEAR_STRIDE)
        degrees = max(LEAST_TURN, abs(wanted - treble) / self._slope(wanted, treble))
        to_go = fall - (self.peak.top()[0] - self.curve[-1][1]) if self.peak.stage == "past" else treble - wanted
        return (way or 1.0) * math.copysign(degrees, to_go)

    def _is_far(self, fall: float) -> bool:
        """Whether the aim is far away: below the peak where the level rises fast, or past it with much left to fall."""
        if self.peak.found:
            return self.peak.top()[0] - self.curve[-1][1] < fall - FAR_DB
        return len(self.curve) > 1 and self.curve[-1][1] - self.curve[-2][1] > STEEP_DB

    def _slope(self, wanted: float, treble: float) -> float:
        """Change of treble per degree around two trebles, over a stretch that is long beside the trimmer's play.

        Degrees are fitted to trebles: play moves the degrees, while treble says where the bias is.
        """
        near = sorted(self._at, key=lambda at: abs(at[1] - (wanted + treble) / 2))
        least = next((n for n in range(4, len(near)) if np.ptp([t for _, t in near[:n]]) >= WIDE_DB), len(near))
        degrees, trebles = np.array(near[:least]).T
        if np.ptp(degrees) >= LEAST_TURN and np.ptp(trebles) >= SURE_DB:
            each_db = abs(float(np.polyfit(trebles, degrees, 1)[0]))
            self._per_degree = max(LEAST_SLOPE, 1.0 / max(LEAST_TURN, each_db))
        return self._per_degree

    def _more_bias(self) -> float:
        """Sense of turn that raises bias, 1 or −1; 0 while it is not known."""
        if len(self._at) > 1:
            degrees, trebles = np.array(self._at).T
            if np.ptp(degrees) >= LEAST_TURN and np.ptp(trebles) >= (SURE_DB if self._way else BETWEEN_DB):
                self._way = -math.copysign(1.0, float(np.polyfit(degrees, trebles, 1)[0]))
        return self._way

    def displaced(self) -> None:
        """Forget the positions, because another trimmer was turned that moves this channel's bias too."""
        self._more_bias()
        self._at.clear()

    def _treble_falls(self) -> bool:
        return self.peak.treble_step() < -BETWEEN_DB

    def _treble_rises(self) -> bool:
        return self.peak.treble_step() > BETWEEN_DB

    def as_curve(self, channel: Channel, verdict: Verdict, *, by_degrees: bool) -> Curve:
        """The curve so far."""
        peak = max(self.curve, key=lambda p: p[1]) if self.curve and self.peak.found else None
        aim = self.peak.top()[0] - verdict.target if peak is not None else None
        return Curve(
            channel=channel,
            label=f"{channel}, {self.tone}",
            along="degrees" if by_degrees else "round",
            points=tuple(self.curve),
            unit="dBFS",
            frequency_hz=self.hz,
            peak=peak,
            aim=aim,
        )
