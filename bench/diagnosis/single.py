"""Predicts the readings of a machine other than levels of tones, with one function for each quantity.

Each function takes the figures, the machine and a row, and returns a value for each set of figures, on a scale on which
the scatter is uniform: dB, or the logarithm of a positive quantity.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.diagnosis.machine import PARTS, Machine
from bench.diagnosis.parameters import Figures
from bench.diagnosis.readings.finding import MAGNETISED, Source, Stage
from bench.diagnosis.tones import (
    OTHER_TAPE,
    SPACING_DB,
    USUAL_AMPLIFIER_DB,
    USUAL_CROSSTALK_DB,
    USUAL_DROPOUTS,
    USUAL_ERASURE_DB,
    USUAL_HISS_DB,
    USUAL_HUM_DB,
    USUAL_MAXIMUM_DB,
    USUAL_PART_PERCENT,
    USUAL_REST_PERCENT,
    USUAL_SECOND_DB,
    USUAL_WEAVE_US,
    angle_between,
    bias_slope_db,
    clipping_db,
    faster,
    film,
    height_db,
    height_mm,
    power_sum_db,
    settings_of,
    switch_db,
)

LOWEST_OLD_DB = 100.0
"""Level of an old recording, dB below the reference level, at which the figure `old_recording` is 0."""
DECODED_DB = 9.0
"""Noise that a Type B decoder takes off. Common practice, no source."""
HISS_HZ = 5000.0
"""Frequency of most of the weighted hiss of a tape, at which the loss by dirt is computed."""


@dataclass(frozen=True, slots=True)
class Single:
    """One reading of one of these quantities."""

    stage: Stage
    source: Source
    channel: int | None
    """0 left, 1 right; None for what holds for both."""
    hz: float | None = None
    sent_db: float = 0.0
    kind: int = 0
    """Index of the noise method or of the part; for hum, 0 the total, 1 mains and odd harmonics, 2 even harmonics."""
    driven: int | None = None


def _of(values: Floats, row: Single) -> Floats:
    """The figure for the channel of the row, or the mean of both."""
    return np.asarray(values.mean(axis=1) if row.channel is None else values[:, row.channel])


def _remanence(f: Figures, row: Single) -> Floats:
    return np.asarray(f["remanence_left"] + (f["remanence"] if row.stage in MAGNETISED else 0.0))


def _bias(f: Figures, row: Single) -> Floats:
    run = settings_of(row.stage)
    return _of(f["bias"][:, run], row) + f["bias_shift"][:, run] - OTHER_TAPE["bias"] * f["other_tape"][:, run]


def _delay(f: Figures, machine: Machine, row: Single) -> Floats:
    run = settings_of(row.stage)
    scale = machine.delay_scale
    if row.source == "reference-tape":
        return np.asarray(machine.us_per_arcmin * f["replay_azimuth"][:, run] + scale * f["scatter"])
    if machine.heads == 2:
        return 0.3 * scale * f["scatter"]
    return np.asarray(machine.us_per_arcmin * angle_between(f, row.stage) + scale * f["record_scatter"])


def _noise(f: Figures, machine: Machine, row: Single) -> Floats:
    """DB relative to the reference level."""
    run, kind = settings_of(row.stage), row.kind
    up = _of(f["replay_level"][:, run], row) + 0.6 * _of(f["replay_equalisation"][:, run], row)
    up = up + f["output_control"][:, run] + 0.6 * switch_db(machine) * f["equalisation_switch"][:, run]
    amplifier = USUAL_AMPLIFIER_DB[kind] + f["amplifier_noise"] + _of(f["amplifier_noise_one"], row)
    if row.source == "tape-stopped":
        return np.asarray(amplifier + up)
    dirt = SPACING_DB * _of(film(f, machine, row.stage, "replay"), row) * HISS_HZ / (1e3 * machine.speed_mm_s)
    magnetic = 5.0 * np.sqrt(_remanence(f, row) + 1e-6)
    tape = (
        USUAL_HISS_DB[kind]
        + faster(machine, "hiss")
        + f["hiss"]
        + f["hiss_method"][:, kind]
        + magnetic
        - DECODED_DB * f["decoded"]
    )
    tape = tape + 0.5 * height_db(f, machine, row.source)  # hiss adds up by power over the width of the track
    tape = tape - 0.6 * dirt + OTHER_TAPE["hiss"] * f["other_tape"][:, run]
    remains = f["old_recording"] - LOWEST_OLD_DB - _erasure(f, machine, row)
    return power_sum_db(tape, amplifier, remains) + up


HUM_FOLLOWS = 0.5
"""Share of a change of replay level that hum follows: all if it enters at the head, none after the trimmer."""


def _hum(f: Figures, machine: Machine, row: Single) -> Floats:
    run = settings_of(row.stage)
    own = _of(f["hum_one"], row) + HUM_FOLLOWS * _of(f["replay_level"][:, run], row) + f["output_control"][:, run]
    mains, rectifier = USUAL_HUM_DB + f["hum_mains"] + own, USUAL_HUM_DB - 6.0 + f["hum_rectifier"] + own
    return np.asarray((power_sum_db(mains, rectifier), mains, rectifier)[row.kind])


def _maximum_db(f: Figures, machine: Machine, row: Single) -> Floats:
    """Maximum output level on tape, dB relative to the reference level."""
    bias = np.clip(_bias(f, row), -6.0, 6.0)
    lost = 0.7 * bias - 0.12 * bias**2
    other = OTHER_TAPE["maximum"] * f["other_tape"][:, settings_of(row.stage)]
    usual = USUAL_MAXIMUM_DB + faster(machine, "maximum")
    return np.asarray(usual + f["maximum"] + lost + other - 0.5 * f["clipping"])


def _maximum(f: Figures, machine: Machine, row: Single) -> Floats:
    run = settings_of(row.stage)
    up = _of(f["replay_level"][:, run], row) + f["output_control"][:, run] + height_db(f, machine, row.source)
    return np.asarray(_maximum_db(f, machine, row) + up - 0.3 * f["limiter"])


def _third(f: Figures, machine: Machine, row: Single) -> Floats:
    """DB relative to the fundamental: 3 % at the maximum output level, and proportional to the square of the level."""
    run = settings_of(row.stage)
    other = OTHER_TAPE["level"] * f["other_tape"][:, run]
    level = row.sent_db + _of(f["record_level"][:, run], row) + f["sensitivity"] + other
    level = level + _of(f["record_control"][:, run], row)
    tape = 20 * np.log10(0.03) + 2 * (level - _maximum_db(f, machine, row)) + f["third_harmonic"]
    return power_sum_db(np.clip(tape, -70.0, 0.0), clipping_db(f["clipping"], row.sent_db))


def _second(f: Figures, machine: Machine, row: Single) -> Floats:
    own = USUAL_SECOND_DB + f["second_harmonic"] + _of(f["second_harmonic_one"], row)
    return power_sum_db(own, -38.0 + 20 * np.log10(_remanence(f, row) + 1e-4))


def _saturation(f: Figures, machine: Machine, row: Single) -> Floats:
    return np.asarray(-6.0 + f["saturation"] - 0.7 * bias_slope_db(machine) * _bias(f, row))


def _overbias(f: Figures, machine: Machine, row: Single) -> Floats:
    return np.asarray(bias_slope_db(machine) * (row.hz or 1e4) / 1e4 * _bias(f, row))


def _separation(f: Figures, machine: Machine, row: Single) -> Floats:
    """Separation, positive dB: both channels as they are replayed, each at its own replay level.

    A head that reaches beyond the guard band reads the other track.
    """
    guard = machine.spacing_mm - machine.width_mm
    beyond = np.maximum(height_mm(f, machine) - guard, 0.0) / machine.width_mm
    leak = 20 * np.log10(beyond + 1e-4)
    apart = np.zeros(1)
    if row.driven is not None:
        levels = f["replay_level"][:, settings_of(row.stage)]
        apart = levels[:, row.driven] - levels[:, 1 - row.driven]
    return np.asarray(apart - power_sum_db(USUAL_CROSSTALK_DB + faster(machine, "crosstalk") + f["crosstalk"], leak))


def _erasure(f: Figures, machine: Machine, row: Single) -> Floats:
    dirt = f["erasure_dirt"] if row.stage == "before-cleaning" else 0.0
    return np.asarray(-USUAL_ERASURE_DB - faster(machine, "erasure") + f["erasure"] - dirt)


CONDITION = {"flutter": 0.65, "weave": 0.85, "dropouts": 1.3}
"""Increase of each, as a natural logarithm, for one unit of worse condition: all three rise together."""


def _flutter_all(f: Figures, machine: Machine) -> Floats:
    return np.asarray(faster(machine, "flutter") + f["flutter_all"] + CONDITION["flutter"] * f["condition"])


def _parts(f: Figures, machine: Machine) -> Floats:
    """Peak of the flutter component of each part, %."""
    return np.asarray(USUAL_PART_PERCENT * np.exp(f["part"] + _flutter_all(f, machine)[:, None]))


WEIGHT = {"capstan": 0.95, "pinch roller": 0.75, "reel": 0.45, "belt": 1.0, "idler": 0.9}
"""Approximate weighting of IEC 60386 at the usual rate of each part."""


def _flutter(f: Figures, machine: Machine, row: Single) -> Floats:
    """Natural logarithm of weighted flutter in %."""
    weights = np.array([WEIGHT[p] for p in PARTS])
    squares = ((_parts(f, machine) * weights) ** 2).sum(axis=1) + (
        USUAL_REST_PERCENT * np.exp(f["flutter_rest"] + _flutter_all(f, machine))
    ) ** 2
    return np.asarray(0.5 * np.log(squares))


def _part(f: Figures, machine: Machine, row: Single) -> Floats:
    return np.asarray(np.log(_parts(f, machine)[:, row.kind]))


CONTACT_WEAVES = 1.2
"""Increase of the weave, as a natural logarithm, for 1 µm of poor contact: the tape is not held by the head. Common
practice, no source."""


def _weave(f: Figures, machine: Machine, row: Single) -> Floats:
    contact = CONTACT_WEAVES * f["contact"].max(axis=1)
    return np.asarray(
        np.log(USUAL_WEAVE_US * machine.delay_scale) + f["weave"] + CONDITION["weave"] * f["condition"] + contact
    )


def _dropouts(f: Figures, machine: Machine, row: Single) -> Floats:
    contact = _of(f["contact"], row) + 0.5 * _of(film(f, machine, row.stage, "replay"), row) / machine.film_scale
    usual = np.log(USUAL_DROPOUTS) + faster(machine, "dropouts")
    return np.asarray(usual + f["dropouts"] + CONDITION["dropouts"] * f["condition"] + 2.5 * contact)


def _drift(f: Figures, machine: Machine, row: Single) -> Floats:
    return f["drift"]


def _source(f: Figures, machine: Machine, row: Single) -> Floats:
    """Level of the source at the output, which both controls move."""
    run = settings_of(row.stage)
    return np.asarray(_of(f["record_control"][:, run], row) + f["output_control"][:, run])


def _speed(f: Figures, machine: Machine, row: Single) -> Floats:
    return np.asarray(f["speed"][:, settings_of(row.stage)] + f["wrong_speed"])


def _circuit(f: Figures, machine: Machine, row: Single) -> Floats:
    """The error of a correct encoder or decoder is 0; a faulty one adds a curve (`spread.curve_columns`)."""
    return np.zeros(len(f.vectors))


QUANTITY: dict[str, Callable[[Figures, Machine, Single], Floats]] = {
    "delay": _delay,
    "noise": _noise,
    "hum": _hum,
    "maximum": _maximum,
    "third": _third,
    "second": _second,
    "saturation": _saturation,
    "overbias": _overbias,
    "separation": _separation,
    "erasure": _erasure,
    "flutter": _flutter,
    "part": _part,
    "weave": _weave,
    "dropouts": _dropouts,
    "drift": _drift,
    "speed": _speed,
    "source": _source,
    "encoder": _circuit,
    "decoder": _circuit,
}
SCATTER: dict[str, float] = {
    "delay": 1.2,
    "noise": 0.7,
    "hum": 1.5,
    "maximum": 0.6,
    "third": 1.5,
    "second": 3.0,
    "saturation": 0.7,
    "overbias": 0.4,
    "separation": 2.0,
    "erasure": 2.0,
    "flutter": 0.15,
    "part": 0.25,
    "weave": 0.3,
    "dropouts": 0.6,
    "drift": 0.05,
    "speed": 0.015,
    "source": 0.05,
    "encoder": 0.35,
    "decoder": 0.35,
}
"""Repeatability of a reading on its scale (standard deviation). Common practice, no source."""
