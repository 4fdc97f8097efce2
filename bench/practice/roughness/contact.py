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
        self._slow: tuple[Floats, Floats] | None = None
        """Slow wander of the coating at both ends of the chunk."""
        self._noise = np.zeros((2, CHUNK))

    def advance(self, physics: MachinePhysics, slow: Floats) -> None:
        """Go on to the next chunk.

        Args:
            physics: the machine's figures.
            slow: slow wander of each track's coating at the end of the chunk, unit variance.
        """
        self._level.advance()
        self._contact.advance()
        self._slow = self._slow[1] if self._slow is not None else slow, slow
        if physics.replay_modulation_noise_db > -120.0:
            self._noise = self._white.standard_normal((2, CHUNK))

    def run(self, physics: MachinePhysics, flux: Floats) -> Floats:
        """The flux of a chunk, shape (2, n), with wander of level and modulation noise."""
        fast, slow = physics.level_wander_db * self._in_band, physics.slow_wander_db
        if self._slow is not None and (fast or slow):
            moments = (self._level.before, self._slow[0]), (self._level.now, self._slow[1])
            start, end = (10 ** ((fast * level + slow * coating) / 20) for level, coating in moments)
            flux = flux * (start[:, None] + (end - start)[:, None] * _PART)
        if physics.replay_modulation_noise_db > -120.0:
            flux = flux * (1 + 10 ** (physics.replay_modulation_noise_db / 20) * self._skirts.run(self._noise))
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
