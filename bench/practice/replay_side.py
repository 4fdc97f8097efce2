"""From the flux on the tape to the line output."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.practice.facts import MachineFacts
from bench.practice.filters import FREQUENCIES, LONG, RATE, SHORT, Fir, Shelf, minimum_phase, zero_phase
from bench.practice.media import MEDIA, noise_shape_db
from bench.practice.physics import MachinePhysics
from bench.practice.record_side import LOWEST_HZ, long_time_constant
from bench.tape.equalisation import flux_level_db
from bench.tape.losses import azimuth_loss_db, gap_loss_db, spacing_loss_db

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ReplaySetting:
    """How one channel's replay side stands now."""

    level_db: float
    equalisation_db: float
    """Of the high-frequency end."""
    t1_us: float
    dirt_um: float
    remanence: float


class ReplaySide:
    """Replay head and amplifiers of both channels.

    Args:
        machine: the recorder.
        reference_hz: where its reference level holds.
        hiss_db: of the tape's own flux noise from white noise of unit variance, at `FREQUENCIES`.
    """

    def __init__(self, machine: MachineFacts, reference_hz: float, hiss_db: Floats) -> None:
        self._speed, self._reference_hz = machine.speed_mm_s, reference_hz
        t1_us, t2_us = machine.equalisation_us
        corner = long_time_constant(t2_us)
        self._shelf = Shelf(LOWEST_HZ, corner) if t2_us > 0 else None
        self._shelf_db = 10 * np.log10(1 + (corner / reference_hz) ** 2) if t2_us > 0 else 0.0
        self._t1_db = float(flux_level_db(reference_hz, t1_us))
        self._hiss_db = hiss_db
        self._fir, self._hiss = Fir(), Fir()
        self._settings: tuple[ReplaySetting, ReplaySetting] | None = None
        self._physics: MachinePhysics | None = None
        self._azimuth_arcmin = 0.0
        self._amplifiers: list[Floats] = []
        self._upright_db: list[Floats] = []

    def set(self, physics: MachinePhysics, azimuth_arcmin: float, left: ReplaySetting, right: ReplaySetting) -> None:
        """Take these settings from the next chunk on.

        Args:
            physics: the machine's.
            azimuth_arcmin: angle between the head and the recording.
            left: of that channel.
            right: likewise.
        """
        same = (left, right) == self._settings and physics == self._physics
        if same and azimuth_arcmin == self._azimuth_arcmin:
            return
        self._azimuth_arcmin = azimuth_arcmin
        if not same:
            self._settings, self._physics = (left, right), physics
            self._set_upright(physics, left, right)
        askew_db = azimuth_loss_db(FREQUENCIES, self._speed, physics.track_width_mm, azimuth_arcmin)
        lost = [zero_phase(upright + askew_db, LONG - SHORT) for upright in self._upright_db]
        self._fir.set(*(np.convolve(*pair) for pair in zip(lost, self._amplifiers, strict=True)))

    def _set_upright(self, physics: MachinePhysics, left: ReplaySetting, right: ReplaySetting) -> None:
        """All but the azimuth, which wanders on and on.

        It is all that hiss knows: the grains along the gap are strangers to each other, and a gap askew loses nothing
        of their noise.
        """
        gap_db = gap_loss_db(FREQUENCIES, self._speed, physics.replay_gap_um) - np.maximum(
            gap_loss_db(FREQUENCIES, self._speed, physics.replay_gap_made_good_um), -20.0
        )
        self._upright_db = [
            gap_db + spacing_loss_db(FREQUENCIES, self._speed, s.dirt_um + 0.02 * s.remanence) for s in (left, right)
        ]
        gains_db = [self._amplifier_db(s) for s in (left, right)]
        self._amplifiers = [minimum_phase(db, SHORT) for db in gains_db]
        self._hiss.set(
            *(minimum_phase(self._hiss_db + up + db) for up, db in zip(self._upright_db, gains_db, strict=True))
        )

    def _amplifier_db(self, setting: ReplaySetting) -> Floats:
        t1_us = setting.t1_us * 10 ** (setting.equalisation_db / 20)
        return self._t1_db - flux_level_db(FREQUENCIES, t1_us) + self._shelf_db + setting.level_db

    def run(self, flux: Floats, hiss: Floats) -> Floats:
        """Output of a chunk, re the reference level, all of shape (2, n).

        Args:
            flux: what was recorded.
            hiss: white noise, of unit variance where the tape is as noisy as its figure says.
        """
        out = self._fir.run(flux) + self._hiss.run(hiss)
        if self._shelf is not None:
            self._shelf.run(out)
        return out


def beside(flux: Floats, height_mm: float, width_mm: float, spacing_mm: float) -> Floats:
    """What a head hears whose tracks lie beside the recorded ones: less of its own, and some of the neighbour.

    Args:
        flux: on the tape, shape (2, n).
        height_mm: how far beside; positive towards the other channel for the left one.
        width_mm: of a track.
        spacing_mm: between their centres.
    """
    if height_mm == 0.0:
        return flux
    own = max(0.0, 1 - abs(height_mm) / width_mm)
    other = max(0.0, abs(height_mm) - (spacing_mm - width_mm)) / width_mm
    out = own * flux
    hears = 0 if height_mm > 0 else 1
    out[hears] += other * flux[1 - hears]
    return np.asarray(out)


def wired(out: Floats, physics: MachinePhysics) -> Floats:
    """The output as its wires bring it: a channel dead or inverted, or both swapped."""
    if physics.dead_channel == physics.inverted_channel == "none" and not physics.swapped_channels:
        return out
    sides = ("left", "right")
    gains = [
        0.0 if side == physics.dead_channel else -1.0 if side == physics.inverted_channel else 1.0 for side in sides
    ]
    out = out * np.array(gains)[:, None]
    return out[::-1].copy() if physics.swapped_channels else out


def hiss_db(machine: MachineFacts, iec_type: str, noise_db: float, reference_hz: float) -> Floats:
    """Flux noise of a tape from white noise of unit variance, at `FREQUENCIES`, dB re the reference fluxivity.

    Args:
        machine: at whose speed.
        iec_type: of the tape.
        noise_db: 22.4 Hz to 22.4 kHz behind the equalisation for which it is given, re the reference level.
        reference_hz: where that level holds.
    """
    medium = MEDIA[iec_type]
    shape = noise_shape_db(FREQUENCIES, machine.speed_mm_s, medium)
    # As it was given: on a machine that stands at another equalisation its treble weighs otherwise.
    t1_us, t2_us = medium.quoted_t1_us or machine.equalisation_us[0], machine.equalisation_us[1]
    behind = shape - flux_level_db(FREQUENCIES, t1_us, t2_us) + flux_level_db(reference_hz, t1_us, t2_us)
    band = (FREQUENCIES >= 22.4) & (FREQUENCIES <= 22400)
    # White noise of unit variance has this much power in the band; a reference tone has 1/2.
    power = float(np.mean(10 ** (behind[band] / 10)) * (22400 - 22.4) / (RATE / 2))
    return np.asarray(shape + noise_db - 10 * np.log10(2 * power))
