"""Predicts the levels of tones by closed formulas, for many sets of figures at once.

Levels in dB are errors, all 0 for a machine in good order and adjustment. The first axis of arrays is that of the sets.
"""

from __future__ import annotations

import math

import numpy as np

from bench.arrays import Floats
from bench.diagnosis.machine import Machine
from bench.diagnosis.parameters import Figures
from bench.diagnosis.readings.finding import MAGNETISED, Source, Stage
from bench.tape.losses import GAP_FACTOR, fringing_rise_db

RECORD_SPACING_DB = 44.0
"""Loss in recording for each wavelength of distance, dB. Source: Bertram & Niedermeyer as remembered; from memory."""
SPACING_DB = 54.575
USUAL_MAXIMUM_DB = 4.5
USUAL_HISS_DB = (-54.5, -51.5, -44.0, -51.0)
USUAL_AMPLIFIER_DB = (-69.0, -66.0, -59.0, -66.0)
"""Relative to the reference level, in the order of `parameters.NOISE_METHODS`."""
USUAL_HUM_DB, USUAL_CROSSTALK_DB, USUAL_ERASURE_DB = -66.0, -43.0, -68.0
USUAL_SECOND_DB = -56.0
USUAL_PART_PERCENT, USUAL_REST_PERCENT = 0.025, 0.05
USUAL_WEAVE_US, USUAL_DROPOUTS = 1.0, 1.0
FASTER = {"maximum": 0.8, "hiss": -1.5, "crosstalk": -1.5, "erasure": -1.5, "flutter": -0.16, "dropouts": -0.3}
"""Change of these for each doubling of speed, dB or natural logarithm: the figures above are those of a cassette deck.
Common practice, no source: a studio recorder has 50 dB of separation, and half the flutter."""


def faster(machine: Machine, what: str) -> float:
    """Change of a usual figure on this machine against a cassette deck."""
    return FASTER[what] * machine.octaves


def settings_of(stage: Stage) -> int:
    """Which run of settings applies at a stage: 0 as found, 1 as left."""
    return int(stage == "as-left")


def sinc_db(x: Floats) -> Floats:
    """20 lg |sin x / x|, kept finite at its zeros."""
    return np.asarray(10 * np.log10(np.sinc(x / np.pi) ** 2 + 3e-4))


def shelf_db(hz: Floats, t1_us: float, change_db: Floats) -> Floats:
    """Change of an equaliser's response if its time constant t1 is changed by `change_db`."""
    w = (2e-6 * np.pi * hz * t1_us) ** 2
    return np.asarray(10 * np.log10((1 + w * 10 ** (change_db / 10)) / (1 + w)))


def switch_db(machine: Machine) -> float:
    """Change at high frequencies in the other position of the switch: 120 and 70 µs on cassette, 50 and 35 on reels."""
    others = {120.0: 70.0, 70.0: 120.0, 90.0: 50.0, 50.0: 35.0, 35.0: 50.0, 17.5: 35.0}
    near = min(others, key=lambda t1: abs(math.log(t1 / machine.t1_us)))
    return 20 * math.log10(others[near] / near)


BIAS_TO_PEAK_DB = 5.0
"""Bias below the right one at which treble is at its peak and falls again. Common practice, no source: tape data
sheets show 10 kHz at its highest with 3 to 6 dB less bias."""


def bias_slope_db(machine: Machine) -> float:
    """Loss at 10 kHz for each dB of extra bias. Common practice, no source: from the usual over-bias at each speed."""
    return float(1.6 * (47.625 / machine.speed_mm_s) ** 0.4)


def film(f: Figures, machine: Machine, stage: Stage, head: str) -> Floats:
    """Distance between tape and head, µm, shape (sets, 2)."""
    on_it = f["film_left"] + f["contact"] if head == "replay" else np.zeros_like(f["film_left"])
    return machine.film_scale * (on_it + f[f"{head}_film"] if stage == "before-cleaning" else on_it)


def height_mm(f: Figures, machine: Machine) -> Floats:
    """Error of the height of a head, mm; on a wide track a larger one goes unnoticed."""
    return np.asarray(np.abs(f["height"]) * (machine.width_mm / 0.6) ** 0.7)


def height_db(f: Figures, machine: Machine, source: Source) -> Floats:
    """Loss by the part of the track that a head at the wrong height misses, dB.

    A head that records as well misses nothing of its own recording.
    """
    if machine.heads == 2 and source != "reference-tape":
        return np.zeros(len(f.vectors))
    share = np.clip(height_mm(f, machine) / machine.width_mm, 0.0, 0.95)
    return np.asarray(20 * np.log10(1 - share))


class Tones:
    """Levels of tones at one stage of one source."""

    def __init__(self, machine: Machine, stage: Stage, source: Source, hz: Floats, sent_db: Floats) -> None:
        self.machine, self.stage, self.source, self.hz, self.sent_db = machine, stage, source, hz, sent_db
        self._wavelength_um = 1e3 * machine.speed_mm_s / hz
        x = 10.0 if machine.cassette else 12.5
        self._top = (1 / (1 + (hz / 16e3 - 16e3 / hz) ** 2)) / (1 / (1 + (x / 16 - 16 / x) ** 2))
        w = (2e-6 * np.pi * hz * machine.t1_us) ** 2
        self._shape = self._top - w / (1 + w)
        self._corner = 4 * w / (1 + w) ** 2
        self._encoding = encoding_db(hz, sent_db)
        self._fringing = fringing_rise_db(hz, machine.speed_mm_s, machine.width_mm)
        self._bump = np.array([bump_db(hz, peak) for peak in BUMP_HZ])

    def level_db(self, f: Figures) -> Floats:
        """Level errors, shape (sets, 2, tones)."""
        replay = self._replay(f)
        if self.source == "reference-tape":
            treble = f["reference_treble"][:, None, None] * (self.hz / 1e4)
            switched = abs(switch_db(self.machine)) * f["reference_equalisation"]
            other = shelf_db(self.hz, self.machine.t1_us, switched[:, None, None])
            level = f["reference_level"] + f["output_control"][:, settings_of(self.stage)]
            wide = self._each(f["fringing"]) * self._fringing - self._each(f["decoded"]) * self._encoding
            return replay + level[:, None, None] + treble + other + wide
        return replay + self._record(f)

    def _each(self, values: Floats) -> Floats:
        """A figure as (sets, channels or 1, 1)."""
        return values[..., None] if values.ndim == 2 else values[:, None, None]

    def _angle(self, f: Figures) -> Floats:
        """Azimuth between head and recording, arcmin."""
        if self.source == "reference-tape":
            return f["replay_azimuth"][:, settings_of(self.stage)]
        if self.machine.heads == 2:
            return np.zeros(len(f.vectors))
        return angle_between(f, self.stage)

    def _replay(self, f: Figures) -> Floats:
        m, run, per_um = self.machine, settings_of(self.stage), 1 / self._wavelength_um
        gap = np.pi * GAP_FACTOR * m.gap_um * per_um
        worn = sinc_db(gap * np.exp(self._each(f["gap"]))) - sinc_db(gap)
        offset_um = 1e3 * m.width_mm * 2.9089e-4 * self._each(self._angle(f))
        remanence = f["remanence_left"] + (f["remanence"] if self.stage in MAGNETISED else 0.0)
        switched = f["replay_equalisation"][:, run] + switch_db(m) * f["equalisation_switch"][:, run, None]
        return np.asarray(
            self._each(f["replay_level"][:, run])
            + shelf_db(self.hz, m.t1_us, self._each(switched))
            + self._each(f["replay_equaliser_shape"][:, run]) * self._shape
            + self._each(f["replay_equaliser_corner"][:, run]) * self._corner
            + worn
            - SPACING_DB * self._each(film(f, m, self.stage, "replay")) * per_um
            + sinc_db(np.pi * offset_um * per_um)
            - self._each(remanence) * 0.5 * np.minimum(self.hz / 1e4, 1.2)
            + low_end_db(self.hz, self._each(f["replay_low_end"]))
            + self._each(height_db(f, m, self.source))
            + f["bump"][:, None] @ self._bump
        )

    def _record(self, f: Figures) -> Floats:
        m, run = self.machine, settings_of(self.stage)
        on_head = film(f, m, self.stage, "record" if m.heads == 3 else "replay")
        other = self._each(f["other_tape"][:, run])
        bias = self._each(f["bias"][:, run] + f["bias_shift"][:, run, None]) - OTHER_TAPE["bias"] * other
        k = self.hz / 1e4
        slope = bias_slope_db(m) * np.exp(self._each(f["bias_slope"]))
        under = np.minimum(bias, 0.0)
        treble = bias + 0.5 * under**2 / BIAS_TO_PEAK_DB
        level = -0.05 * bias**2 - np.where(bias < 0, 0.06, 0.0) * bias**2
        recorded = self._each(f["record_level"][:, run]) + self._each(f["sensitivity"]) + OTHER_TAPE["level"] * other
        return np.asarray(
            recorded
            + self._each(f["record_equalisation"][:, run]) * self._top
            + self._each(f["record_equaliser_shape"][:, run]) * self._shape
            + self._each(f["record_equaliser_corner"][:, run]) * self._corner
            - RECORD_SPACING_DB * self._each(on_head) / self._wavelength_um
            + (self._each(f["tape_treble"]) + OTHER_TAPE["treble"] * other) * k
            - slope * treble * k
            + level
            + low_end_db(self.hz, self._each(f["record_low_end"]))
            + self._pressed(f, recorded)
            - self._each(f["pilot_filter"]) * np.clip((self.hz - 1e4) / 2.5e3, 0, 3) ** 2
            + self._each(f["encoded"]) * self._encoding
        )

    def _pressed(self, f: Figures, recorded: Floats) -> Floats:
        """Compression of loud tones by tape, limiter and clipping, relative to that of a usual tape.

        Whatever makes a third harmonic by the cube of level takes three times as much from the fundamental.
        """
        sent = self.sent_db + self._each(f["record_control"][:, settings_of(self.stage)])
        tape = usual_compression_db(sent + recorded - self._each(f["maximum"]), self.machine)
        tape = tape - usual_compression_db(self.sent_db, self.machine)
        limited = self._each(f["limiter"]) * np.clip(1 + self.sent_db / 12, 0, 1.5)
        clipped = 20 * np.log10(1 + 3 * 10 ** (clipping_db(self._each(f["clipping"]), self.sent_db) / 20))
        return np.asarray(np.clip(tape, -3.0, 1.0) - limited - clipped)


OTHER_TAPE = {"bias": 3.0, "level": -1.8, "treble": -1.0, "maximum": -1.0, "hiss": -1.5}
"""Effect of one unit of `other_tape`, which is a tape of the next higher type: more bias needed, lower level."""


def usual_compression_db(sent_db: Floats | float, machine: Machine) -> Floats:
    """Compression of a tone by a usual tape, as a level, negative."""
    return np.asarray(-0.9 * 10 ** ((np.asarray(sent_db) - USUAL_MAXIMUM_DB - faster(machine, "maximum")) / 10))


def clipping_db(clipping: Floats, sent_db: Floats | float) -> Floats:
    """Third harmonic by clipping ahead of the tape, dB relative to the fundamental."""
    return np.asarray(-60.0 + 6.0 * clipping + 2.0 * sent_db)


def angle_between(f: Figures, stage: Stage) -> Floats:
    """Angle between the replay head and what the record head recorded, arcmin."""
    run = settings_of(stage)
    return np.asarray(f["replay_azimuth"][:, run] + f["record_azimuth"][:, run])


def low_end_db(hz: Floats, corner_hz: Floats) -> Floats:
    """Response of a first-order high-pass filter."""
    return np.asarray(-10 * np.log10(1 + (corner_hz / hz) ** 2))


BUMP_HZ = (30.0, 50.0, 80.0)
"""Usual frequencies of a head bump, those of the three figures `bump`. Common practice, no source."""


def bump_db(hz: Floats, peak_hz: float) -> Floats:
    """Response of a head bump of 1 dB: a peak, and a dip of half its size an octave above."""
    octaves = np.log2(hz / peak_hz)
    return np.asarray(np.exp(-2 * octaves**2) - 0.5 * np.exp(-2 * (octaves - 1) ** 2))


def encoding_db(hz: Floats, sent_db: Floats) -> Floats:
    """Boost of a steady tone by a Type B encoder: the louder the tone, the less and the lower in frequency.

    A closed formula within the limits of the data sheet, `bench.tape.encoding_curves.TYPE_B_DATA_SHEET`.
    """
    boost = 10.5 / (1 + 10 ** ((sent_db + 19.4) / 10))
    return np.asarray(boost / (1 + (700.0 / hz) ** 2) / (1 + hz / 6e3 * 10 ** ((sent_db + 20.0) / 10)))


def power_sum_db(*levels: Floats) -> Floats:
    """Level of the power sum of uncorrelated signals, dB."""
    return np.asarray(10 * np.log10(sum(10 ** (level / 10) for level in levels)))
