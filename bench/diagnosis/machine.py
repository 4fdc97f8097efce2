"""The facts of a machine that a diagnosis needs; missing ones have a usual value and are listed as assumed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from bench.problem import Problem
from bench.tape.geometry import ARCMIN, TRACK_FORMATS, rotation_rate_hz

SLOW_MM_S = 60.0
"""A machine slower than this is a cassette deck."""
USUAL_PARTS = {
    True: {"capstan": 2.2, "pinch roller": 13.0, "reel": 36.0},
    False: {"capstan": 8.0, "pinch roller": 40.0, "reel": 140.0},
}
"""Usual diameters, mm: True for a cassette deck, False for open reel."""
FLYWHEEL_MM = 60.0
"""Usual diameter of the flywheel, on which the belt runs."""
PART_WORDS = {
    "capstan": ("capstan", "flywheel"),
    "pinch roller": ("pinch", "roller"),
    "reel": ("reel", "hub", "spool", "turntable"),
    "belt": ("belt",),
    "idler": ("idler",),
}
PARTS = tuple(PART_WORDS)
BUILT = {
    "speed_mm_per_s": (5.0, 2000.0),
    "track_width_mm": (0.1, 60.0),
    "track_spacing_mm": (0.1, 60.0),
    "replay_gap_um": (0.1, 50.0),
}
"""Range of the figures of machines, from dictation to instrumentation recorders. Common practice, no source."""
LONGEST_US, SHORTEST_US = 500.0, 5.0
"""Time constants of treble."""


@dataclass(frozen=True, slots=True)
class Machine:
    """A recorder, as far as a diagnosis needs to know it."""

    heads: int = 3
    speed_mm_s: float = 47.625
    width_mm: float = 0.6
    spacing_mm: float = 0.9
    t1_us: float = 120.0
    gap_um: float = 1.2
    reference_dbfs: float = -12.0
    """Reading of the interface at the reference level, dBFS."""
    parts: Mapping[str, float] = field(default_factory=dict)
    """Turns per second of those of `PARTS` that are known."""
    lined_up_before: bool = False
    """Whether an earlier visit adjusted it."""
    assumed: tuple[str, ...] = ()
    """The facts that its sheet lacks, with the value assumed for each."""

    @property
    def cassette(self) -> bool:
        """Whether it is a cassette deck."""
        return self.speed_mm_s < SLOW_MM_S

    @property
    def octaves(self) -> float:
        """Doublings of speed from that of a cassette deck to its own."""
        return max(0.0, math.log2(self.speed_mm_s / 47.625))

    @property
    def film_scale(self) -> float:
        """Thickness of dirt before anybody hears it, relative to a cassette deck."""
        return float((self.speed_mm_s / 47.625) ** 0.6)

    @property
    def delay_scale(self) -> float:
        """Delay caused by gap scatter or a weaving tape, relative to a cassette deck: less at a higher speed."""
        return min(1.0, math.sqrt(47.625 / self.speed_mm_s))

    @property
    def us_per_arcmin(self) -> float:
        """Delay between the channels for a minute of arc of azimuth, µs."""
        return 1e6 * self.spacing_mm * ARCMIN / self.speed_mm_s


def machine_of(facts: Mapping[str, Any], where: str) -> Machine:
    """Read a machine from a table with the keys of a machine sheet; a few longer key names are accepted as well.

    Raises:
        Problem: no machine can have such a figure.
    """
    given = _Table(facts, where)
    speed = given.number("speed_mm_per_s", "speed_mm_s", "tape_speed_mm_s", usual=47.625)
    cassette = speed < SLOW_MM_S
    spacing = given.number("track_spacing_mm", usual=0.9 if cassette else 3.5)
    near = min(TRACK_FORMATS, key=lambda t: abs(t.spacing_mm - spacing))
    t1 = given.equalisation((120.0, 3180.0) if cassette else (35.0, 0.0) if speed > 300 else (50.0, 3180.0))
    reference = facts.get("reference")
    dbfs = reference.get("replay_dbfs", -12.0) if isinstance(reference, Mapping) else None
    heads = given.number("heads", usual=3.0)
    if heads not in (2.0, 3.0):
        raise Problem(f"{where}: machine.heads must be 2 or 3, not {heads:g}")
    return Machine(
        heads=int(heads),
        speed_mm_s=speed,
        width_mm=given.number("track_width_mm", usual=near.width_mm, report_missing=False),
        spacing_mm=spacing,
        t1_us=t1,
        gap_um=given.number("replay_gap_um", "gap_um", usual=1.2 if cassette else 3.0),
        reference_dbfs=float(dbfs) if isinstance(dbfs, int | float) else given.level("reference_dbfs", "replay_dbfs"),
        parts=_rates(facts, speed, cassette),
        lined_up_before=facts.get("lined_up_before") is True,
        assumed=tuple(given.assumed),
    )


class _Table:
    """Reads figures from a table and remembers which are missing."""

    def __init__(self, facts: Mapping[str, Any], where: str) -> None:
        self._facts, self._where = facts, where
        self.assumed: list[str] = []

    def number(self, *keys: str, usual: float, report_missing: bool = True) -> float:
        for key in keys:
            value = self._facts.get(key)
            if value is None:
                continue
            if isinstance(value, bool) or not isinstance(value, int | float) or not value > 0:
                raise Problem(f"{self._where}: machine.{key} must be a number above 0, not {value!r}")
            least, most = BUILT.get(keys[0], (0.0, 1e6))
            if not least <= value <= most:
                raise Problem(f"{self._where}: machine.{key} must be between {least:g} and {most:g}, not {value:g}")
            return float(value)
        if report_missing:
            self.assumed.append(f"{keys[0]} {usual:g}")
        return usual

    def level(self, *keys: str) -> float:
        found = [v for v in map(self._facts.get, keys) if isinstance(v, int | float) and not isinstance(v, bool)]
        return float(found[0]) if found else -12.0

    def equalisation(self, usual: tuple[float, float]) -> float:
        """The treble time constant, µs."""
        value = self._facts.get("equalisation_us")
        if value is None:
            self.assumed.append(f"equalisation_us {usual[0]:g} and {usual[1]:g}")
            return usual[0]
        times = value if isinstance(value, list | tuple) else [value]
        good = [float(t) for t in times if isinstance(t, int | float) and not isinstance(t, bool) and 0 <= t < 1e5]
        if len(good) != len(times) or not 1 <= len(good) <= 2 or not SHORTEST_US <= good[0] <= LONGEST_US:
            raise Problem(f"{self._where}: machine.equalisation_us must be two times in µs, as [120, 3180]")
        return good[0]


def part_named(name: str) -> str | None:
    """Which of `PARTS` a name means; None if none."""
    words = name.lower().replace("_", " ").replace("-", " ")
    found = [part for part, said in PART_WORDS.items() if any(word in words for word in said)]
    return found[-1] if found else None


def _rates(facts: Mapping[str, Any], speed: float, cassette: bool) -> dict[str, float]:
    """Turns per second: usual values, then those from `<part>_mm` and `<part>_hz` and from the list of parts."""
    given: list[tuple[str, str, Any]] = [(key, key.rpartition("_")[2], value) for key, value in facts.items()]
    listed = facts.get("parts")
    for item in listed if isinstance(listed, list | tuple) else ():
        if isinstance(item, Mapping):
            name = str(item.get("name", ""))
            given += [(name, "mm", item.get("diameter_mm")), (name, "hz", item.get("hz"))]
    mm, hz = dict(USUAL_PARTS[cassette]), {}
    flywheel = FLYWHEEL_MM
    for name, unit, value in given:
        part = part_named(name)
        if isinstance(value, bool) or not isinstance(value, int | float) or not value > 0:
            continue
        if "flywheel" in name:
            flywheel = value if unit == "mm" else flywheel
        elif part and unit == "mm":
            mm[part] = float(value)
        elif part and unit == "hz":
            hz[part] = float(value)
    belt = mm.pop("belt", None)
    rates = {part: rotation_rate_hz(size, speed) for part, size in mm.items()} | hz
    if belt is not None:
        rates.setdefault("belt", rates["capstan"] * math.pi * flywheel / belt)
    return rates
