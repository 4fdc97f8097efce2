"""The replay side: from the flux on the tape to the line output."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.practice.facts import MachineFacts
from bench.practice.filters import FREQUENCIES, LONG, RATE, SHORT, Shelf, zero_phase
from bench.practice.media import MEDIA, noise_shape_db
from bench.practice.physics import MachinePhysics
from bench.practice.record_side import LOWEST_HZ, long_time_constant_hz
from bench.practice.roughness.head_filter import BINS_HZ, HeadFilter
from bench.tape.equalisation import flux_level_db
from bench.tape.losses import azimuth_loss_db, gap_loss_db, spacing_loss_db
from bench.tape.minimum_phase import minimum_phase


@dataclass(frozen=True, slots=True)
class ReplaySetting:
    """The present settings of one channel's replay side."""

    level_db: float
    equalisation_db: float
    """At high frequencies."""
    t1_us: float
    dirt_um: float
    remanence: float


def replay_settings(
    error: Callable[[str, str], float], physics: MachinePhysics, t1_us: float, erased_um: float
) -> tuple[ReplaySetting, ReplaySetting]:
    """The settings of both channels.

    Args:
        error: gives the error of a trimmer in a channel, in the trimmer's unit.
        physics: the machine's present figures.
        t1_us: its short time constant, unless a fault changes it.
        erased_um: loss from passes over magnetised heads, as an equivalent spacing.
    """
    left, right = (
        ReplaySetting(
            error("replay level", side),
            error("replay equalisation", side),
            physics.replay_t1_us or t1_us,
            getattr(physics, f"replay_dirt_{side}_um") + erased_um,
            physics.magnetised,
        )
        for side in ("left", "right")
    )
    return left, right


class ReplaySide:
    """Replay head and amplifiers of both channels.

    Args:
        machine: the recorder.
        reference_hz: frequency at which the reference level is stated.
        hiss_shape_db: response from white noise of unit variance to the tape's flux noise, at `FREQUENCIES`.
    """

    def __init__(self, machine: MachineFacts, reference_hz: float, hiss_shape_db: Floats) -> None:
        self._speed, self._reference_hz = machine.speed_mm_s, reference_hz
        t1_us, t2_us = machine.equalisation_us
        corner = long_time_constant_hz(t2_us)
        self._shelf = Shelf(LOWEST_HZ, corner) if t2_us > 0 else None
        self._shelf_db = 10 * np.log10(1 + (corner / reference_hz) ** 2) if t2_us > 0 else 0.0
        self._t1_db = float(flux_level_db(reference_hz, t1_us))
        self._hiss_db = hiss_shape_db
        self._head = HeadFilter()
        self._spacing_mm = machine.track_spacing_mm
        self._settings: tuple[ReplaySetting, ReplaySetting] | None = None
        self._physics: MachinePhysics | None = None
        self._azimuth_arcmin = 0.0

    def set(self, physics: MachinePhysics, azimuth_arcmin: float, left: ReplaySetting, right: ReplaySetting) -> None:
        """Use these settings from the next chunk on.

        Args:
            physics: the machine's figures.
            azimuth_arcmin: angle between the head and the recording.
            left: settings of the left channel.
            right: settings of the right channel.
        """
        same = (left, right) == self._settings and physics == self._physics
        if same and azimuth_arcmin == self._azimuth_arcmin:
            return
        self._azimuth_arcmin = azimuth_arcmin
        if not same:
            self._settings, self._physics = (left, right), physics
            self._set_without_azimuth(physics, left, right)
        azimuth_db = azimuth_loss_db(np.maximum(BINS_HZ, 1.0), self._speed, physics.track_width_mm, azimuth_arcmin)
        self._head.set_loss(10 ** (azimuth_db / 20))

    def _set_without_azimuth(self, physics: MachinePhysics, left: ReplaySetting, right: ReplaySetting) -> None:
        """Set everything except azimuth loss, which changes continually.

        Hiss has no azimuth loss: the particles along the gap are uncorrelated, so a tilted gap reads all of their
        noise.
        """
        gap_db = gap_loss_db(FREQUENCIES, self._speed, physics.replay_gap_um) - np.maximum(
            gap_loss_db(FREQUENCIES, self._speed, physics.replay_gap_made_good_um), -20.0
        )
        head_loss_db = [
            gap_db + spacing_loss_db(FREQUENCIES, self._speed, s.dirt_um + 0.02 * s.remanence) for s in (left, right)
        ]
        amplifiers = [self._amplifier_db(s) for s in (left, right)]
        guard_mm = max(0.0, self._spacing_mm - physics.track_width_mm)
        pairs = list(zip(head_loss_db, amplifiers, strict=True))
        self._head.set_taps(
            [np.convolve(zero_phase(loss, LONG - SHORT), minimum_phase(db, SHORT)) for loss, db in pairs],
            [minimum_phase(self._hiss_db + loss + db, LONG) for loss, db in pairs],
            crosstalk_gain(BINS_HZ, physics.crosstalk_db, self._speed, guard_mm),
        )

    def _amplifier_db(self, setting: ReplaySetting) -> Floats:
        t1_us = setting.t1_us * 10 ** (setting.equalisation_db / 20)
        return self._t1_db - flux_level_db(FREQUENCIES, t1_us) + self._shelf_db + setting.level_db

    def run(self, flux: Floats, hiss: Floats, spacing_db: Floats | None) -> Floats:
        """Output of a chunk, re the reference level, all of shape (2, n).

        Args:
            flux: the recorded flux.
            hiss: white noise; unit variance gives the noise of the tape's figures.
            spacing_db: loss at 10 kHz from spacing between tape and head, at each sample; None for none.
        """
        out = self._head.run(flux, hiss, spacing_db)
        if self._shelf is not None:
            self._shelf.run(out)
        return out


def crosstalk_gain(frequency_hz: Floats, crosstalk_db: float, speed_mm_s: float, guard_mm: float) -> Floats:
    """Crosstalk gain from one channel to the other.

    It rises by 3 dB at 8 kHz, from coupling of coils and leads, and at long wavelengths, where a head reads the
    fringing field of the adjacent track: by up to 20 dB, times e^(−2πg/λ) across a guard band g. Common practice, no
    source.

    Args:
        frequency_hz: any shape.
        crosstalk_db: at medium frequencies.
        speed_mm_s: tape speed.
        guard_mm: distance between the edges of the two tracks.
    """
    fringe = 10.0 * np.exp(-2 * np.pi * guard_mm * frequency_hz / speed_mm_s)
    return np.asarray(10 ** (crosstalk_db / 20) * np.hypot(np.hypot(1, frequency_hz / 8000.0), fringe))


def with_height_error(flux: Floats, height_mm: float, width_mm: float, spacing_mm: float) -> Floats:
    """The flux read by a head at the wrong height: less of its own track, and some of the adjacent one.

    Args:
        flux: flux on the tape, shape (2, n).
        height_mm: height error; positive moves the left channel towards the right track.
        width_mm: width of a track.
        spacing_mm: distance between the centres of the tracks.
    """
    if height_mm == 0.0:
        return flux
    own = max(0.0, 1 - abs(height_mm) / width_mm)
    other = max(0.0, abs(height_mm) - (spacing_mm - width_mm)) / width_mm
    out = own * flux
    hears = 0 if height_mm > 0 else 1
    out[hears] += other * flux[1 - hears]
    return np.asarray(out)


def with_wiring_faults(out: Floats, physics: MachinePhysics) -> Floats:
    """The output with wiring faults: a channel dead or inverted, or both swapped."""
    if physics.dead_channel == physics.inverted_channel == "none" and not physics.swapped_channels:
        return out
    sides = ("left", "right")
    polarities = [
        0.0 if side == physics.dead_channel else -1.0 if side == physics.inverted_channel else 1.0 for side in sides
    ]
    out = out * np.array(polarities)[:, None]
    return out[::-1].copy() if physics.swapped_channels else out


def hiss_shape_db(machine: MachineFacts, iec_type: str, noise_db: float, reference_hz: float) -> Floats:
    """Response from white noise of unit variance to a tape's flux noise, dB re the reference fluxivity.

    Args:
        machine: gives the speed.
        iec_type: the tape type.
        noise_db: noise from 22.4 Hz to 22.4 kHz with its quoted equalisation, re the reference level.
        reference_hz: frequency at which that level is stated.

    Returns:
        dB at `FREQUENCIES`.
    """
    medium = MEDIA[iec_type]
    shape = noise_shape_db(FREQUENCIES, machine.speed_mm_s, medium)
    # The quoted noise is with this equalisation, which may differ from the machine's.
    t1_us, t2_us = medium.quoted_t1_us or machine.equalisation_us[0], machine.equalisation_us[1]
    behind = shape - flux_level_db(FREQUENCIES, t1_us, t2_us) + flux_level_db(reference_hz, t1_us, t2_us)
    band = (FREQUENCIES >= 22.4) & (FREQUENCIES <= 22400)
    # White noise of unit variance has this much power in the band; a reference tone has 1/2.
    power = float(np.mean(10 ** (behind[band] / 10)) * (22400 - 22.4) / (RATE / 2))
    return np.asarray(shape + noise_db - 10 * np.log10(2 * power))
