"""The figures of the machine model, and the usual value of each on a machine without a fault.

Settings (levels, equalisation, bias, azimuth, speed) have separate figures as found and as left. All spreads are common
practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.diagnosis.machine import PARTS


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of the model, or one for each channel, run of settings or stage."""

    name: str
    usual: float
    """Standard deviation around `mean` on a machine without a fault; 0 if only a fault changes it."""
    unit: str
    shape: tuple[int, ...] = ()
    mean: float = 0.0
    linear: bool = True
    """Whether the readings depend on it linearly, to a good approximation."""
    trimmer: str = ""
    """The trimmer that sets it."""
    left: float = 1.0
    """Factor for its spread as left: it was turned until the readings were right, whatever the fault was."""


SETTINGS = (2,)
"""As found, and as left."""
BY_CHANNEL = (2,)
NOISE_METHODS = ("A-weighted", "unweighted", "BS.468", "2 kHz")
"""How the methods of noise begin; they differ in their weighting."""

FIGURES: tuple[Figure, ...] = (
    # Settings
    Figure("replay_level", 2.5, "dB", SETTINGS + BY_CHANNEL, trimmer="replay level", left=2.0),
    Figure(
        "replay_equalisation", 1.0, "dB", SETTINGS + BY_CHANNEL, linear=False, trimmer="replay equalisation", left=2.5
    ),
    Figure("replay_azimuth", 4.0, "arcmin", SETTINGS, linear=False, trimmer="replay azimuth"),
    Figure("record_azimuth", 3.0, "arcmin", SETTINGS, linear=False, trimmer="record azimuth"),
    Figure("record_level", 2.0, "dB", SETTINGS + BY_CHANNEL, trimmer="record level", left=2.0),
    Figure("record_equalisation", 1.5, "dB", SETTINGS + BY_CHANNEL, trimmer="record equalisation", left=2.5),
    Figure("bias", 1.1, "dB", SETTINGS + BY_CHANNEL, linear=False, trimmer="bias"),
    Figure("speed", 0.6, "%", SETTINGS, trimmer="speed"),
    Figure("record_control", 2.0, "dB", SETTINGS + BY_CHANNEL, trimmer="record level control"),
    Figure("replay_equaliser_shape", 0.5, "dB", SETTINGS + BY_CHANNEL, left=3.0),
    Figure("replay_equaliser_corner", 0.5, "dB", SETTINGS + BY_CHANNEL, left=4.0),
    Figure("record_equaliser_shape", 0.5, "dB", SETTINGS + BY_CHANNEL, left=3.0),
    Figure("record_equaliser_corner", 0.5, "dB", SETTINGS + BY_CHANNEL, left=4.0),
    # Heads
    Figure("replay_film", 0.08, "µm", BY_CHANNEL),
    Figure("record_film", 0.08, "µm", BY_CHANNEL),
    Figure("film_left", 0.05, "µm", BY_CHANNEL),
    Figure("contact", 0.0, "µm", BY_CHANNEL),
    Figure("gap", 0.09, "ln"),
    Figure("scatter", 1.0, "µs"),
    Figure("record_scatter", 1.0, "µs"),
    Figure("height", 0.0, "mm"),
    Figure("bump", 0.0, "dB", (3,)),
    Figure("remanence", 0.0, "1"),
    Figure("remanence_left", 0.0, "1"),
    Figure("crosstalk", 5.0, "dB"),
    Figure("erasure", 4.0, "dB"),
    Figure("erasure_dirt", 0.0, "dB"),
    Figure("old_recording", 0.0, "dB"),
    # Electronics
    Figure("equalisation_switch", 0.0, "1", SETTINGS),
    Figure("replay_low_end", 0.0, "Hz", BY_CHANNEL),
    Figure("record_low_end", 0.0, "Hz", BY_CHANNEL),
    Figure("output_control", 0.0, "dB", SETTINGS),
    Figure("amplifier_noise", 4.0, "dB"),
    Figure("amplifier_noise_one", 1.5, "dB", BY_CHANNEL),
    Figure("hum_mains", 5.0, "dB"),
    Figure("hum_rectifier", 5.0, "dB"),
    Figure("hum_one", 3.0, "dB", BY_CHANNEL),
    Figure("second_harmonic", 4.0, "dB"),
    Figure("second_harmonic_one", 3.0, "dB", BY_CHANNEL),
    Figure("limiter", 0.3, "dB"),
    Figure("clipping", 0.0, "dB"),
    Figure("pilot_filter", 0.0, "dB"),
    Figure("encoded", 0.0, "1"),
    Figure("decoded", 0.0, "1"),
    # The tape in use
    Figure("sensitivity", 0.8, "dB"),
    Figure("tape_treble", 1.2, "dB"),
    Figure("maximum", 1.6, "dB"),
    Figure("third_harmonic", 2.5, "dB"),
    Figure("hiss", 3.0, "dB"),
    Figure("hiss_method", 2.0, "dB", (len(NOISE_METHODS),)),
    Figure("bias_slope", 0.2, "ln", linear=False),
    Figure("saturation", 3.0, "dB"),
    # The reference tape
    Figure("reference_level", 0.15, "dB"),
    Figure("reference_treble", 0.25, "dB"),
    Figure("reference_equalisation", 0.0, "1"),
    Figure("fringing", 0.5, "1", mean=0.5),
    # Transport
    Figure("part", 0.55, "ln", (len(PARTS),)),
    Figure("condition", 1.0, "1"),
    Figure("flutter_all", 0.35, "ln"),
    Figure("flutter_rest", 0.35, "ln"),
    Figure("weave", 0.5, "ln"),
    Figure("dropouts", 0.8, "ln"),
    Figure("drift", 0.12, "%"),
    Figure("wrong_speed", 0.0, "%"),
    # Causes that act on settings from outside
    Figure("bias_shift", 0.0, "dB", SETTINGS),
    Figure("other_tape", 0.0, "1", SETTINGS),
)
NAMES = {f.name: f for f in FIGURES}


DRIFTED = 0.5
"""Factor for the spread of a setting on a machine that was lined up before. Common practice, no source."""


def _layout() -> tuple[dict[str, slice], int]:
    out, at = {}, 0
    for figure in FIGURES:
        size = int(np.prod(figure.shape, dtype=int))
        out[figure.name] = slice(at, at + size)
        at += size
    return out, at


WHERE, COUNT = _layout()
"""Position of each figure in the vector, and the length of the vector."""


def usual(*, lined_up_before: bool = False, adjusted: float = 1.0) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Mean and standard deviation of the vector on a machine without a fault, and which figures are linear.

    Args:
        lined_up_before: whether the trimmers were adjusted at an earlier visit and have only drifted since.
        adjusted: spread of the trimmers as found, relative to the usual one.
    """
    mean, width, linear = np.zeros(COUNT), np.zeros(COUNT), np.ones(COUNT, dtype=bool)
    for figure in FIGURES:
        at = WHERE[figure.name]
        mean[at], width[at] = figure.mean, figure.usual
        if figure.left != 1.0:
            width[(at.start + at.stop) // 2 : at.stop] *= figure.left
        if figure.trimmer and figure.name != "speed":  # a motor drifts whoever turns the other trimmers
            width[at.start : (at.start + at.stop) // 2] *= adjusted * (DRIFTED if lined_up_before else 1.0)
        linear[WHERE[figure.name]] = figure.linear
    return mean, width, linear


def index(name: str, *at: int) -> int:
    """Position of one figure in the vector."""
    shape = NAMES[name].shape
    return int(WHERE[name].start) + (int(np.ravel_multi_index(at, shape)) if shape else 0)


class Figures:
    """A batch of vectors, shape (n, COUNT), whose figures are accessed by name."""

    def __init__(self, vectors: Floats) -> None:
        self.vectors = vectors
        self._views: dict[str, Floats] = {}

    def __getitem__(self, name: str) -> Floats:
        """The values of a figure, shape (n, *shape of the figure)."""
        if name not in self._views:
            self._views[name] = self.vectors[:, WHERE[name]].reshape(len(self.vectors), *NAMES[name].shape)
        return self._views[name]
