"""Arranges readings as the rows of one vector, and predicts them for a machine with given figures."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.diagnosis.machine import PARTS, Machine
from bench.diagnosis.parameters import NOISE_METHODS, Figures
from bench.diagnosis.readings.finding import Finding, Source, Stage
from bench.diagnosis.readings.references import usual_reference_hz
from bench.diagnosis.single import QUANTITY, SCATTER, Single
from bench.diagnosis.tones import (
    USUAL_CROSSTALK_DB,
    USUAL_ERASURE_DB,
    Tones,
    faster,
    settings_of,
    usual_compression_db,
)

TONE_QUANTITIES = ("level", "record_replay_level", "response", "balance")
LAW_ERROR, STEEP_DB = 0.05, 8.0
"""Relative error of the model for a large error (standard deviation), and the error in dB beyond which it doubles."""
NULL_ERROR, NULL_DB = 0.4, 13.0
"""Relative error beyond this many dB, where a null of gap or azimuth is near and only "far down" is certain."""
BURIED_DB = -25.0
"""Usual response at a tone that noise buries. Common practice, no source."""
SIDES = {"left": 0, "right": 1}


@dataclass(frozen=True, slots=True)
class Tone:
    """The tone of a level or response row."""

    group: tuple[Stage, Source]
    hz: float
    sent_db: float
    weights: tuple[float, float]
    """Weights of the left and right channels."""
    relative_to: tuple[float, float] | None = None
    """Frequency and level of the tone to which it is relative."""


@dataclass(frozen=True, slots=True)
class DataRow:
    """A row: its reading and what that reading is of."""

    finding: Finding
    value: float
    scatter: float
    """Standard deviation when the reading is repeated, before it is scaled for the session."""
    stated: float
    """Standard uncertainty that the reading states."""
    tone: Tone | None = None
    single: Single | None = None
    kind: str = ""
    """Key of `QUANTITY`; "" for a tone."""


@dataclass(frozen=True, slots=True)
class Unused:
    """A reading that the diagnosis cannot use, and why."""

    finding: Finding
    why: str


def data_row(finding: Finding, machine: Machine) -> DataRow | Unused:
    """The row of a reading, or why it cannot be used."""
    value = BURIED_DB if finding.buried else finding.value
    if value is None:
        return Unused(finding, "no reading")
    if finding.source in ("encoder", "decoder"):
        return _circuit(finding, value)
    if finding.quantity in TONE_QUANTITIES:
        return _tone(finding, value, machine)
    make = _SINGLE.get(finding.quantity)
    return make(finding, value, machine) if make else Unused(finding, "no cause in the list changes this quantity")


def tone_scatter(hz: float, machine: Machine) -> float:
    """Repeatability of the level of a tone (standard deviation), dB. Common practice, no source."""
    return 0.12 + 0.16 * hz / 1e4 * machine.delay_scale


def reference_hz(finding: Finding, machine: Machine) -> float:
    """The frequency to which a response is relative, or at which a level was read."""
    return finding.reference_hz or usual_reference_hz(finding.source, machine)


def _weights(channel: str, quantity: str) -> tuple[float, float]:
    if quantity == "balance":
        return (1.0, -1.0)
    return {"left": (1.0, 0.0), "right": (0.0, 1.0)}.get(channel, (0.5, 0.5))


def _tone(finding: Finding, value: float, machine: Machine) -> DataRow | Unused:
    if finding.source == "tape-stopped":
        return Unused(finding, "a tone needs a tape")
    ratio = finding.quantity == "response"
    hz = finding.frequency_hz or (None if ratio else reference_hz(finding, machine))
    if hz is None:
        return Unused(finding, "its frequency is missing")
    usual_db = -20.0 if ratio else 0.0
    sent = usual_db if finding.sent_db is None else min(finding.sent_db, 6.0)
    tone = Tone(
        (finding.stage, finding.source),
        hz,
        sent,
        _weights(finding.channel, finding.quantity),
        (reference_hz(finding, machine), sent) if ratio else None,
    )
    return _of_tone(finding, value, tone, machine)


def _compression(finding: Finding, value: float, machine: Machine) -> DataRow | Unused:
    """The level of a loud tone relative to the same tone at −20 dB, less that of a usual tape."""
    hz, sent = finding.frequency_hz or reference_hz(finding, machine), finding.sent_db or 0.0
    tone = Tone((finding.stage, finding.source), hz, sent, _weights(finding.channel, ""), (hz, -20.0))
    return _of_tone(finding, value - float(usual_compression_db(sent, machine)), tone, machine)


def _of_tone(finding: Finding, value: float, tone: Tone, machine: Machine) -> DataRow:
    size = abs(value)
    law = LAW_ERROR * (size + max(size - STEEP_DB, 0.0)) + NULL_ERROR * max(size - NULL_DB, 0.0)
    scatter = math.hypot(tone_scatter(tone.hz, machine), law)
    return DataRow(finding, value, scatter, finding.uncertainty / 2, tone=tone)


def _circuit(finding: Finding, value: float) -> DataRow | Unused:
    if finding.unit not in ("dB", ""):
        return Unused(finding, "not a level")
    row = Single(
        finding.stage, finding.source, SIDES.get(finding.channel), finding.frequency_hz, finding.sent_db or -20.0
    )
    kind = finding.source
    return DataRow(finding, value, SCATTER[kind], finding.uncertainty / 2, single=row, kind=kind)


def _single(
    of: str, finding: Finding, value: float, stated: float, scale: float = 1.0, **more: float | int | None
) -> DataRow:
    row = Single(
        finding.stage,
        finding.source,
        SIDES.get(finding.channel),
        finding.frequency_hz,
        sent_db=finding.sent_db or 0.0,
        **more,  # type: ignore[arg-type]
    )
    return DataRow(finding, value, scale * SCATTER[of], stated, single=row, kind=of)


def _plain(kind: str) -> Callable[[Finding, float, Machine], DataRow | Unused]:
    return lambda finding, value, machine: _single(kind, finding, value, finding.uncertainty / 2)


def _logarithmic(kind: str, least: float, more: float = 0.0) -> Callable[[Finding, float, Machine], DataRow | Unused]:
    """A row on a logarithmic scale, with the uncertainty relative to the value."""

    def make(finding: Finding, value: float, machine: Machine) -> DataRow | Unused:
        if value < 0:
            return Unused(finding, "it can't be negative")
        safe = max(value + more, least)
        return _single(kind, finding, math.log(safe), min(finding.uncertainty / 2 / safe, 1.0))

    return make


def _delay(finding: Finding, value: float, machine: Machine) -> DataRow | Unused:
    if finding.source not in ("reference-tape", "record-replay"):
        return Unused(finding, "a delay needs a tape")
    to_us = {"azimuth_delay": 1.0, "azimuth_angle": machine.us_per_arcmin}.get(finding.quantity)
    if to_us is None:
        if not finding.frequency_hz:
            return Unused(finding, "its frequency is missing")
        to_us = 1e6 / (360.0 * finding.frequency_hz)
    return _single("delay", finding, value * to_us, finding.uncertainty * to_us / 2, machine.delay_scale)


def _noise(finding: Finding, value: float, machine: Machine) -> DataRow | Unused:
    said = finding.method.lower()
    kind = next((n for n, m in enumerate(NOISE_METHODS) if said.startswith(m.lower()) or m.lower() in said), 0)
    if finding.quantity == "signal_to_noise":
        value = -value
    elif finding.unit == "dBFS":
        value -= machine.reference_dbfs
    return _single("noise", finding, value, finding.uncertainty / 2, kind=kind)


def _hum(finding: Finding, value: float, machine: Machine) -> DataRow | Unused:
    if finding.unit == "dBFS":
        value -= machine.reference_dbfs
    said, hz = finding.method.lower(), finding.frequency_hz
    kind = 0
    if hz and "total" not in said:
        mains = min((50.0, 60.0), key=lambda mains: abs(hz / mains - round(hz / mains)))
        harmonic = max(1, round(hz / mains))
        if harmonic > 2:
            return Unused(finding, "a harmonic beyond the second tells no more")
        kind = harmonic
    return _single("hum", finding, value, finding.uncertainty / 2, kind=kind)


def _share(kind: str) -> Callable[[Finding, float, Machine], DataRow | Unused]:
    """Distortion in % of the fundamental, converted to dB."""

    def make(finding: Finding, value: float, machine: Machine) -> DataRow | Unused:
        if value < 0:
            return Unused(finding, "it can't be negative")
        safe = max(value, 0.02)
        stated = min(8.7 * finding.uncertainty / 2 / safe, 6.0)
        return _single(kind, finding, 20 * math.log10(safe / 100), stated)

    return make


def _separation(finding: Finding, value: float, machine: Machine) -> DataRow | Unused:
    side = finding.driven or finding.channel
    value, stated = _limit(finding, abs(value), -USUAL_CROSSTALK_DB - faster(machine, "crosstalk"))
    return _single("separation", finding, value, stated, driven=SIDES.get(side))


def _erasure(finding: Finding, value: float, machine: Machine) -> DataRow | Unused:
    value, stated = _limit(finding, value, -USUAL_ERASURE_DB - faster(machine, "erasure"))
    return _single("erasure", finding, value, stated)


def _limit(finding: Finding, value: float, usual: float) -> tuple[float, float]:
    """Value and standard uncertainty of a reading; a lower limit allows the usual value and any above the limit."""
    if not finding.at_least or value >= usual:
        return value, finding.uncertainty / 2
    return usual, (usual - value) / 2


def _speed(finding: Finding, value: float, machine: Machine) -> DataRow | Unused:
    if finding.source != "reference-tape":
        return Unused(finding, "a machine always agrees with its own recording")
    return _single("speed", finding, value, finding.uncertainty / 2)


def _flutter(finding: Finding, value: float, machine: Machine) -> DataRow | Unused:
    if "unweighted" in finding.method.lower():
        return Unused(finding, "the weighted figure is used")
    return _logarithmic("flutter", 0.01)(finding, value, machine)


_SINGLE: dict[str, Callable[[Finding, float, Machine], DataRow | Unused]] = {
    "compression": _compression,
    "source_level": _plain("source"),
    "azimuth_delay": _delay,
    "azimuth_angle": _delay,
    "azimuth_phase": _delay,
    "azimuth_weave": _logarithmic("weave", 0.1),
    "speed_error": _speed,
    "speed_drift": _plain("drift"),
    "wow_and_flutter": _flutter,
    "noise": _noise,
    "signal_to_noise": _noise,
    "hum": _hum,
    "third_harmonic": _share("third"),
    "second_harmonic": _share("second"),
    "maximum_output_level": _plain("maximum"),
    "saturated_output_level": _plain("saturation"),
    "separation": _separation,
    "erasure": _erasure,
    "dropout_rate": _logarithmic("dropouts", 0.3, 0.3),
    "overbias": _plain("overbias"),
}
assert set(SCATTER) == set(QUANTITY)


def part_rows(findings: Sequence[Finding], amplitudes: dict[str, float], stage: Finding | None) -> list[DataRow]:
    """A row for each part of the transport, from the peak in % of its flutter component."""
    if stage is None:
        return []
    return [
        DataRow(
            stage,
            math.log(max(percent, 0.004)),
            SCATTER["part"],
            0.1,
            single=Single(stage.stage, stage.source, None, kind=PARTS.index(part)),
            kind="part",
        )
        for part, percent in amplitudes.items()
    ]


class Rows:
    """All rows of a session, in one vector."""

    def __init__(self, data_rows: Sequence[DataRow], machine: Machine) -> None:
        self.machine = machine
        self.tones = [p for p in data_rows if p.tone is not None]
        self.singles = [p for p in data_rows if p.tone is None]
        self.data_rows = [*self.tones, *self.singles]
        self.values = np.array([p.value for p in self.data_rows])
        self._groups = self._group()

    def __len__(self) -> int:
        return len(self.data_rows)

    def _group(self) -> list[tuple[Tones, NDArray[np.int64], NDArray[np.int64], Floats]]:
        """For each stage and source: its distinct tones, its rows, and the weight of each tone in each row."""
        out = []
        for group in dict.fromkeys(p.tone.group for p in self.tones if p.tone):
            rows = [n for n, p in enumerate(self.tones) if p.tone and p.tone.group == group]
            tones = [t for t in (self.tones[n].tone for n in rows) if t]
            points = list(
                dict.fromkeys(point for t in tones for point in ((t.hz, t.sent_db), t.relative_to) if point is not None)
            )
            stage, source = group
            hz, sent = (np.array(column) for column in zip(*points, strict=True))
            weights = np.zeros((2 * len(points), len(rows)))
            for column, t in enumerate(tones):
                for side in (0, 1):
                    weights[side * len(points) + points.index((t.hz, t.sent_db)), column] += t.weights[side]
                    if t.relative_to is not None:
                        weights[side * len(points) + points.index(t.relative_to), column] -= t.weights[side]
            out.append((Tones(self.machine, stage, source, hz, sent), np.array(rows), np.arange(len(points)), weights))
        return out

    def runs(self) -> NDArray[np.int64]:
        """Which run of settings applies to each row: 0 as found, 1 as left."""
        return np.array([settings_of(p.finding.stage) for p in self.data_rows], dtype=int)

    def channel_weights(self) -> Floats:
        """Weight of the left and right channels in each row, shape (rows, 2)."""
        one = {0: (1.0, 0.0), 1: (0.0, 1.0), None: (0.5, 0.5)}
        return np.array(
            [p.tone.weights if p.tone else one[p.single.channel if p.single else None] for p in self.data_rows]
        )

    def predict(self, vectors: Floats) -> Floats:
        """Predicted readings of machines with these figures, shape (sets, rows)."""
        f = Figures(vectors)
        out = np.empty((len(vectors), len(self)))
        for tones, rows, _, weights in self._groups:
            out[:, rows] = tones.level_db(f).reshape(len(vectors), -1) @ weights
        for n, p in enumerate(self.singles, len(self.tones)):
            if p.single is not None:
                out[:, n] = QUANTITY[p.kind](f, self.machine, p.single)
        return out

    def curve_factor(self, kernel: Callable[[Floats, Tones], Floats]) -> Floats:
        """Columns by which a curve over frequency changes the rows.

        Args:
            kernel: takes the frequencies and the tones of a group and returns columns of shape (2 × tones, k), with
                the same k for all groups.
        """
        parts = [(rows, weights.T @ kernel(tones.hz, tones)) for tones, rows, _, weights in self._groups]
        width = parts[0][1].shape[1] if parts else 0
        out = np.zeros((len(self), width))
        for rows, columns in parts:
            out[rows] = columns
        return out
