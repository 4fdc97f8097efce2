"""Level and spacing at the replay head: the combined effect of tension, friction, contact, coating and dropouts."""

from __future__ import annotations

import numpy as np

from bench.arrays import Floats
from bench.practice.filters import CHUNK, ModulationNoise
from bench.practice.physics import MachinePhysics
from bench.practice.roughness.wander import Wander, band_share

CORNERS_HZ = (0.5, 3.0)
"""Range of the corner frequency of a machine's level wander."""
COMMON = (0.3, 0.8)
"""Range of the fraction of its power that is common to both channels."""
SKIRTS_HZ = (300.0, 2000.0)
"""Range of the corner frequency of its modulation noise."""
_PART = np.arange(1, CHUNK + 1) / CHUNK


class HeadContact:
    """The effect of head contact on the flux of any tape.

    Args:
        seed: random seed of the machine's corner frequencies, correlation between channels, and courses.
    """

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng([seed, 0xC0])
        self._corner = float(np.exp(rng.uniform(*np.log(CORNERS_HZ))))
        common = float(rng.uniform(*COMMON))
        self._level = Wander((self._corner,), 2, (seed, 0xC1), common=common)
        self._contact = Wander((self._corner,), 2, (seed, 0xC2), common=common)
        self._skirts = ModulationNoise(float(np.exp(rng.uniform(*np.log(SKIRTS_HZ)))))
        self._white = np.random.Generator(np.random.SFC64([seed, 0xC3]))
        self._in_band = 1 / np.sqrt(band_share(self._corner, 0.2, 10.0))
        self._slow_before: Floats | None = None

    def run(self, physics: MachinePhysics, flux: Floats, slow: Floats) -> Floats:
        """The flux of a chunk with wander of level and modulation noise, shape (2, n).

        Args:
            physics: the machine's figures.
            flux: the flux on the tape, same shape.
            slow: slow wander of each track's coating at the end of the chunk, unit variance.
        """
        self._level.advance()
        self._contact.advance()
        slow_before, self._slow_before = self._slow_before, slow
        scale = physics.level_wander_db * self._in_band
        if scale or physics.slow_wander_db:
            db = scale * self._level.before + physics.slow_wander_db * (slow if slow_before is None else slow_before)
            start = 10 ** (db / 20)
            end = 10 ** ((scale * self._level.now + physics.slow_wander_db * slow) / 20)
            flux = flux * (start[:, None] + (end - start)[:, None] * _PART)
        if physics.replay_modulation_noise_db > -120.0:
            white = self._white.standard_normal((2, CHUNK))
            flux = flux * (1 + 10 ** (physics.replay_modulation_noise_db / 20) * self._skirts.run(white))
        return flux

    def spacing_db(self, physics: MachinePhysics, *dropouts: Floats | None) -> Floats | None:
        """The spacing at each sample of the chunk, as a loss at 10 kHz, dB; None for none. Shape (2, n)."""
        spacing = None
        if physics.contact_wander_db:
            scale = physics.contact_wander_db * self._in_band
            before, now = scale * self._contact.before, scale * self._contact.now
            spacing = before[:, None] + (now - before)[:, None] * _PART
        for lost in dropouts:
            if lost is not None:
                spacing = lost if spacing is None else spacing + lost
        return spacing
