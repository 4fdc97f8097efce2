"""Targets that readings are judged by, with their sources."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from bench.figures import as_given, hertz
from bench.measure.reading import Reading, Result
from bench.measure.verdict import Verdict, VerdictWord
from bench.tape.fluxivity import Fluxivity, FluxMethod, convert_method, ratio_db
from bench.words.figures import with_unit
from bench.words.readings import aim_text

TargetName = Annotated[str, Field(pattern=r"^(machine|tape)\.[a-z0-9_]+$")]
"""`machine.replay_level`: the sheet, then the key in its `[targets]`."""


class Band(BaseModel):
    """A tolerance over a range of frequencies."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    from_hz: float = Field(gt=0)
    to_hz: float = Field(gt=0)
    tolerance: float = Field(gt=0)


class Flux(BaseModel):
    """The flux that figures of a tape are relative to."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    nwb_m: float = Field(gt=0)
    """Fluxivity, nWb/m rms."""
    method: FluxMethod
    """Method by which it is measured."""


class Target(BaseModel):
    """A value, its tolerance and its source."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    value: float = 0.0
    unit: str
    tolerance: float | None = Field(default=None, gt=0)
    """Plus or minus, in `unit`."""
    bands: tuple[Band, ...] = ()
    """A tolerance for each range of frequencies; the narrowest range that contains the frequency applies."""
    at_least: float | None = None
    """Lowest acceptable value, in `unit`: separation, erasure."""
    at_most: float | None = None
    """Highest acceptable value, in `unit`: noise, distortion, flutter."""
    known_to: float = Field(default=0.0, ge=0)
    """Expanded uncertainty (k = 2) of the figure itself, in `unit`; the verdict adds it to that of the reading."""
    reference: Flux | None = None
    """Flux of 0 dB, for figures of a tape; without it, the reference level of the machine."""
    source: str
    """A clause of a standard, the service manual, or "common practice, no source"."""

    def re(self, level: Fluxivity) -> Target:
        """The figure relative to another flux: 6 dB re 320 nWb/m is 8.1 dB re 250 nWb/m.

        Args:
            level: reference level of the machine.
        """
        if self.reference is None:
            return self
        flux = Fluxivity(self.reference.nwb_m, self.reference.method)
        here, unsure = convert_method(flux, level.method)
        higher = ratio_db(here, level)
        limits = {key: getattr(self, key) for key in ("at_least", "at_most")}
        moved = {key: limit + higher for key, limit in limits.items() if limit is not None}
        said = f"{', '.join(f'{limit:g} {self.unit}' for limit in limits.values() if limit is not None)} re {flux}"
        known_to = math.hypot(self.known_to, unsure)
        return self.model_copy(
            update=moved | {"reference": None, "known_to": known_to, "source": f"{self.source}; {said}"}
        )

    def tolerance_at(self, frequency_hz: float | None) -> float | None:
        """The tolerance at a frequency; None where the target has none."""
        if not self.bands or frequency_hz is None:
            return self.tolerance
        inside = [b for b in self.bands if b.from_hz * 0.999 <= frequency_hz <= b.to_hz * 1.001]
        if not inside:
            return self.tolerance
        return min(inside, key=lambda b: math.log(b.to_hz / b.from_hz)).tolerance


def target_words(target: Target) -> str:
    """A target in words: "−12 ± 0.5 dBFS", "at least 60 dB", "0 ± 1 dB from 60 Hz to 15 kHz, ± 2 dB elsewhere"."""
    limits = (("at least", target.at_least), ("at most", target.at_most))
    for limit, value in limits:
        if value is not None:
            return with_unit(aim_text(value, None, limit), target.unit)
    narrow_first = sorted(target.bands, key=lambda b: math.log(b.to_hz / b.from_hz))
    said = [f"{as_given(b.tolerance)} {target.unit} from {hertz(b.from_hz)} to {hertz(b.to_hz)}" for b in narrow_first]
    if not said:
        return with_unit(aim_text(target.value, target.tolerance), target.unit)
    if target.tolerance is not None:
        said.append(f"{as_given(target.tolerance)} {target.unit} elsewhere")
    return f"{as_given(target.value)} ± {', ± '.join(said)}"


def judge(reading: Result, target: Target, *, offset: float = 0.0) -> Verdict:
    """Judge a reading.

    Args:
        reading: what was measured.
        target: what it should be, in the same unit.
        offset: added to the value of the target: a correction by certificate, another fluxivity.

    Returns:
        `in` when every value that the reading leaves possible is accepted, `out` when none is, `too close to call`
        between, `no reading` without a value or where the target has no tolerance at that frequency. A reading leaves
        possible its value ± uncertainty (its own and the target's); a bound leaves everything on its open side, and a
        delay without known polarity what is half a period away.
    """
    limit: Literal["", "at least", "at most"] = ""
    tolerance = None
    accepted: tuple[float, float] | None = None
    if target.at_least is not None:
        aim, accepted, limit = target.at_least + offset, (0.0, math.inf), "at least"
    elif target.at_most is not None:
        aim, accepted, limit = target.at_most + offset, (-math.inf, 0.0), "at most"
    else:
        aim, tolerance = target.value + offset, target.tolerance_at(reading.frequency_hz)
        if tolerance is not None:
            accepted = (-tolerance, tolerance)
    word: VerdictWord = "no reading"
    if isinstance(reading, Reading) and accepted is not None:
        error, spread = reading.value - aim, math.hypot(reading.uncertainty, target.known_to)
        # a percentage with only an upper bound is a share, which is never below 0
        least = -aim if reading.unit == "%" else -math.inf
        low = least if reading.bound == "at most" else error - spread
        high = math.inf if reading.bound == "at least" else error + spread
        if accepted[0] <= low and high <= accepted[1] and not reading.method.polarity_unknown:
            word = "in"
        elif high < accepted[0] or accepted[1] < low:
            word = "out"
        else:
            word = "too close to call"
    return Verdict(word=word, target=aim, tolerance=tolerance, source=target.source, limit=limit)
