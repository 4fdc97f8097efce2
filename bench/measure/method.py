"""How a quantity was measured: the name of the method, with every further fact as a field."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass, field, fields, replace
from decimal import ROUND_CEILING
from typing import Any, Literal

from bench.figures import as_given, significant

Difference = Literal[
    "left minus right",
    "replayed minus sent",
    "replayed minus source",
    "recorded to replayed",
    "returned minus sent",
]
Say = str | Callable[[Any], str]


def _fact(say: Say, *, kept: bool = True, none: Any = None) -> Any:
    """A fact that most methods do not have.

    Args:
        say: its text, appended to that of the facts before it: a format string, or a function of the value.
        kept: whether readings that differ in it count as measured by different methods.
        none: its value in a method that lacks it.
    """
    return field(default=none, metadata={"say": say, "kept": kept})


def _within(before: str, unit: str) -> Say:
    """The text of an expanded uncertainty, to two significant digits and never rounded down (GUM 7.2.6)."""
    return lambda value: f"{before} ±{as_given(float(significant(value, 2, ROUND_CEILING)))}{unit}"


def _period(seconds: float) -> str:
    return f"; comes round every {f'{seconds:.2f} s' if seconds >= 0.1 else f'{1000 * seconds:.1f} ms'}"


ZERO_DBU_V = math.sqrt(0.6)
"""0 dBu: the voltage of 1 mW in 600 Ω, 0.775 V (IEC 60027-3)."""


def dbu_text(volts: float) -> str:
    """A voltage written as a level: "−3.4 dBu"."""
    return f"{_Figure(20.0 * math.log10(volts / ZERO_DBU_V)):.1f} dBu"


def beside_dbfs(method: Method) -> str:
    """A level in the units of the machine: "3.8 dBu, +0.2 VU"; "" if the interface is not calibrated."""
    if method.interface_volts is None:
        return ""
    vu = "" if method.meter_vu is None else f", {_Figure(method.meter_vu):+.1f} VU"
    return dbu_text(method.interface_volts) + vu


def _volts(volts: float) -> str:
    return f"; {f'{1000 * volts:.3g} mV' if volts < 1 else f'{volts:.3g} V'} ({dbu_text(volts)}) at the interface"


def _speed(mm_s: float) -> str:
    return f"; {mm_s / 10:g} cm/s"


def _lines(hz: tuple[float, ...]) -> str:
    return f": {', '.join(f'{line:.0f}' for line in hz)} Hz"


@dataclass(frozen=True, slots=True, repr=False)
class Method:
    """A method: its name and the facts that belong to it; `str` gives the full text."""

    name: str
    """For example "A-weighted rms"; "" if unstated."""
    _: KW_ONLY

    # What was compared with what.
    difference: Difference | None = _fact(", {}")  # noqa: RUF009 - it makes a field
    driven: Literal["left", "right"] | None = _fact(", {} driven")
    mean_of_channels: bool = _fact(", mean of the channels", none=False)
    nominal_levels_removed: bool = _fact(", the sheet's nominal levels taken out", none=False)
    assumed_hz: float | None = _fact("; nominal {:g} Hz assumed, the usual one nearest to the tone")
    positions: int | None = _fact(", by a ladder of {} positions")
    level_db: float | None = _fact(", at {:+.3g} dB", kept=False)
    """Level of the tone in a noise-reduction circuit, re its reference level."""

    # Azimuth.
    tones: int | None = _fact(", {} tones, whole-cycle ambiguity resolved with all of them")
    """Number of tones, if there are several."""
    inverted: bool = _fact(", inverted polarity taken out", none=False)
    """One channel has inverted polarity."""
    polarity_unknown: bool = _fact("; polarity not known without a low tone", none=False)
    """If one channel has inverted polarity, the delay is half a cycle off."""
    insertions: int | None = _fact(", mean of {} insertions of the cassette", kept=False)
    speed_mm_s: float | None = _fact(_speed)
    track_spacing_mm: float | None = _fact(", {:g} mm between tracks")

    # What was found during the measurement, and differs each time.
    seconds: float | None = _fact("; over {:.1f} s of tone", kept=False)
    lines_hz: tuple[float, ...] = _fact(_lines, kept=False, none=())
    """The components of hum that make up its total."""
    every_s: float | None = _fact(_period)
    """The period of a flutter component."""
    part: str | None = _fact(", as the {} does")
    """The part of the machine that turns at this rate, or at this rate divided by `per_turn`."""
    per_turn: int | None = _fact(", {} times a turn")
    """Cycles per turn of `part`; None for one."""
    worst_level_db: float | None = _fact(": worst of 0 to −50 dB, at {:g} dB", kept=False)
    held_beyond_hz: float | None = _fact("; errors held beyond {:g} Hz", kept=False)
    level_sent_db: float | None = _fact("; level sent at {:+g} dB", kept=False)
    source_db: float | None = _fact("; source {:+.2f} dB re what was sent", kept=False)
    """Level of the source at the output, where a replayed level is relative to it."""
    response_sent_db: float | None = _fact(", response sent at {:+g} dB", kept=False)

    # An external instrument that a person reads, and what it is connected to.
    instrument_percent: float | None = _fact(" ±{:g} %")
    instrument_ppm: float | None = _fact(" ±{:g} ppm")
    sent_hz: float | None = _fact(", {:g} Hz sent")
    sent_dbfs: float | None = _fact(" at {:g} dBFS")

    # A tape from elsewhere.
    played_us: float | None = _fact("; replayed with {:g} µs")
    other_percent: float | None = _fact("; {:.0f} % likely that it was recorded", kept=False)
    other_us: float | None = _fact(" with {:g} µs", kept=False)
    label_nwb_m: float | None = _fact("; its label says {:g} nWb/m")

    # The recording.
    nothing_sent: bool = _fact("; of tape recorded with nothing sent", none=False)
    both_passes: bool = _fact("; recorded and replayed here, so that both add", none=False)
    replay_within_db: float | None = _fact("; replay within {:.2f} dB of the reference tape", kept=False)
    replay_known_db: float | None = _fact(_within("; reference tape known to", " dB"))
    replay_error_db: float | None = _fact("; replay error of {:+.2f} dB taken off", kept=False)
    replay_unproved: bool = _fact("; replay was not proved in this session", none=False)

    # The interface's contribution, corrected for or included.
    interface_db: float | None = _fact("; interface {:+.2f} dB")
    half_of_loop: bool = _fact(", half of its loop", none=False)
    interface_volts: float | None = _fact(_volts, kept=False)
    meter_vu: float | None = _fact(", {:+.1f} VU on the meter of the machine", kept=False)
    """Reading of a VU meter for a steady tone (IEC 60268-17)."""
    interface_clock_percent: float | None = _fact("; interface's clock {:+.4f} %")
    interface_distortion_percent: float | None = _fact("; interface ±{:g} %")
    interface_noise_dbfs: float | None = _fact(
        "; the interface's own noise is {:g} dBFS, so that this is the most it can be"
    )

    # Uncertainty of the reference tape, and the shift of the target that its certificate makes.
    tape_db: float | None = _fact(_within("; reference tape", " dB"))
    tape_percent: float | None = _fact(_within("; reference tape", " %"))
    tape_arcmin: float | None = _fact(_within("; reference tape", "'"))
    fringing: bool = _fact("; a full-track tape reads high here on a narrower head, so it is not judged", none=False)
    certificate_db: float | None = _fact(", its certificate moves the target by {:+.2g} dB", kept=False)

    def __str__(self) -> str:
        """The text that a report prints: "A-weighted rms; of tape recorded with nothing sent"."""
        return self.name + "".join(self._text(f.metadata["say"], v) for f, v in self._facts())

    def __repr__(self) -> str:
        return f"Method({self.name!r}{''.join(f', {f.name}={v!r}' for f, v in self._facts())})"

    @property
    def kind(self) -> Method:
        """What readings by the same method have in common: everything but the figures that differ each time."""
        return replace(self, **{f.name: f.default for f, _ in self._facts() if not f.metadata["kept"]})

    def _facts(self) -> list[tuple[Any, Any]]:
        values = [(f, getattr(self, f.name)) for f in fields(self) if f.metadata]
        return [(f, v) for f, v in values if v != f.default]

    @staticmethod
    def _text(say: Say, value: Any) -> str:
        if callable(say):
            return say(value)
        return say.format(_Figure(value) if isinstance(value, float) else value)


UNSTATED = Method("")
"""The method of a reading that does not state one."""


class _Figure(float):
    """A number that is formatted with a true minus sign."""

    def __format__(self, spec: str) -> str:
        return super().__format__(spec).replace("-", "−")
