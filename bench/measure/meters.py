"""Meters by name, and their options. This module imports no meter, so scipy and numba are not loaded with it."""

from __future__ import annotations

import importlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Literal, Protocol

from bench.measure.catalogue import METERS
from bench.measure.reading import Measured
from bench.measure.signal.blocks import Samples
from bench.problem import Problem


@dataclass(frozen=True, slots=True)
class Options:
    """The options of a measurement; each quantity uses those that apply to it."""

    frequency: float | None = None
    """The tone to measure, Hz."""
    frequencies: tuple[float, ...] = ()
    """The tones of a response, Hz."""
    reference_frequency: float | None = None
    """The tone a response is relative to, Hz."""
    sheet: tuple[tuple[float, float], ...] = ()
    """The tones of a reference tape, in order: Hz and nominal dB."""
    nominal: float | None = None
    """The recorded frequency, for speed and flutter, Hz."""
    known_percent: float | None = None
    """Expanded uncertainty (k = 2) of the recorded frequency, %."""
    speed: float | None = None
    """Tape speed, mm/s, for the azimuth angle."""
    track_spacing: float | None = None
    """Between the centres of the two tracks, mm."""
    reference_level: float | None = None
    """The reference level for noise, headroom and erasure, dBFS."""
    fundamental: float | None = None
    """Fundamental frequency of a distorted tone, Hz."""
    driven: Literal["left", "right"] | None = None
    """The channel that carries the tone when separation is measured."""
    parts: tuple[tuple[str, float], ...] = ()
    """The machine's rotating parts and their rates in turns per second, to which flutter components are attributed."""

    def check(self) -> None:
        """Raises `Problem` for the first option that no capture could satisfy, by its name on the command line."""
        for field in fields(self):
            value = getattr(self, field.name)
            flag = "--" + field.name.replace("_", "-")
            numbers = [value] if isinstance(value, float) else [v for v in _flat(value) if isinstance(v, float)]
            if any(not math.isfinite(v) for v in numbers):
                raise Problem(f"{flag}: every figure must be finite")
            levels = field.name == "reference_level"
            if field.name == "sheet":
                numbers = [hz for hz, _ in self.sheet]
            if not levels and any(v <= 0 for v in numbers):
                raise Problem(f"{flag}: {min(numbers):g} is impossible; give a figure above zero")
        if (self.speed is None) != (self.track_spacing is None):
            have, need = ("--speed", "--track-spacing") if self.speed else ("--track-spacing", "--speed")
            raise Problem(f"{have} needs {need} too: the angle follows from both")
        if self.frequencies and self.sheet:
            raise Problem("--frequencies and --sheet exclude each other: the sheet already says the frequencies")
        if len(set(self.frequencies)) < len(self.frequencies):
            raise Problem("--frequencies names a frequency twice; give each once")


def _flat(value: Any) -> list[Any]:
    if isinstance(value, tuple):
        return [x for v in value for x in _flat(v)]
    return [value]


class Meter(Protocol):
    """Measures one quantity of a stream; accepts blocks of any length."""

    def feed(self, samples: Samples) -> None:
        """Process samples of shape (frames, channels), full scale ±1."""

    def finish(self) -> Measured:
        """End the stream and return the readings. Nothing can be fed afterwards."""


def make_meter(
    quantity: str, sample_rate: float, channels: int, options: Options | Mapping[str, Any] | None = None
) -> Meter:
    """Make the meter of a quantity.

    Args:
        quantity: a key of `METERS`.
        sample_rate: frames per second.
        channels: 1 or 2.
        options: an `Options`, or its fields by name.

    Raises:
        Problem: there is no such quantity, or an option is impossible.
    """
    if quantity not in METERS:
        raise Problem(f"there is no quantity {quantity}; there are {', '.join(METERS)}")
    chosen = options if isinstance(options, Options) else Options(**(options or {}))
    chosen.check()
    module, name = METERS[quantity].split(":")
    meter: Meter = getattr(importlib.import_module(module), name)(sample_rate, channels, chosen)
    return meter
