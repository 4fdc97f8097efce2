"""The tape's position at each sample: speed error, wow and flutter, and weave of the tape path."""

from __future__ import annotations

import numpy as np

from bench.arrays import Floats
from bench.practice.filters import CHUNK, RATE
from bench.practice.kernels import band_pass, first_order_sum
from bench.practice.physics import MachinePhysics
from bench.practice.roughness.wander import Wander, pink_corners
from bench.tape.geometry import rotation_rate_hz

_STEP = 32
_KNOTS = np.arange(0, CHUNK + 1, _STEP)
_MOMENTS = np.arange(CHUNK)
_KNOT_S = _KNOTS / RATE

CONTINUUM_HZ = (0.3, 250.0)
DRIFT_HZ = (0.02, 0.3)
SCRAPE_HZ = (1500.0, 4500.0)
"""Range of the centre frequency of a machine's scrape flutter."""
SCRAPE_Q = 3.0
DEPTH_FLUCTUATION, RATE_FLUCTUATION = 0.25, 0.01
"""Fluctuation of the depth and of the rate of a part's flutter, rms, if there is also a continuum. That of the rate is
our choice."""
WEAVE_HZ = (0.3, 5.0)
NEW_TAPE_S = 10.0
"""Over these first seconds of a tape the weave is up to twice as large."""


class Transport:
    """A capstan drive. Positions are samples at the correct speed.

    Args:
        physics: the machine's figures.
        speed_mm_s: tape speed.
        tape_um: thickness of the tape, which determines the growth of the reel.
        seed: random seed of phases and of irregular movements.
    """

    def __init__(self, physics: MachinePhysics, speed_mm_s: float, tape_um: float, seed: int) -> None:
        rng = np.random.default_rng([seed, 0x3A9])
        self._speed_mm_s, self._tape_um = speed_mm_s, tape_um
        self._rates = np.array(
            [
                rotation_rate_hz(physics.capstan_mm, speed_mm_s),
                rotation_rate_hz(physics.pinch_roller_mm, speed_mm_s),
                rotation_rate_hz(physics.reel_mm, speed_mm_s),
                # The belt moves at the speed of the flywheel's rim and makes one turn in its own length.
                speed_mm_s / physics.capstan_mm * physics.flywheel_mm / physics.belt_mm,
                0.02,
                *(np.geomspace(8, 60, 6) * rng.uniform(0.9, 1.1, 6)),
            ]
        )
        self._phases = rng.uniform(0, 2 * np.pi, self._rates.size)
        self._depth_breath, self._rate_breath = (Wander((0.1,), 4, (seed, 0x3AA + n)) for n in range(2))
        self._weave = Wander(pink_corners(*WEAVE_HZ), 1, (seed, 0x3AC))
        self._white = np.random.Generator(np.random.SFC64([seed, 0x3AD]))
        corners = [np.array(pink_corners(*band)) for band in (CONTINUUM_HZ, DRIFT_HZ)]
        self._corner_counts = [c.size for c in corners]
        self._keep = np.exp(-2 * np.pi * np.concatenate(corners) * _STEP / RATE)
        self._irregular = self._white.standard_normal(self._keep.size)
        self._last_irregular = 0.0
        middle = np.exp(rng.uniform(*np.log(SCRAPE_HZ)))
        turn = 2 * np.pi * middle / RATE
        radius = np.exp(-turn / (2 * SCRAPE_Q))
        self._scrape = np.array([2 * radius * np.cos(turn), -(radius**2)])
        self._scrape_gain = _unit_gain(self._scrape)
        self._scrape_state = np.zeros(4)
        self.position = 0.0

    def advance(self, physics: MachinePhysics, speed_percent: float) -> Floats:
        """Move the tape for a chunk and return its positions at each sample, plus one after the last."""
        depths = np.array(
            [
                physics.flutter_capstan_percent,
                physics.flutter_pinch_roller_percent,
                physics.flutter_reel_percent,
                physics.flutter_belt_percent,
                physics.speed_wander_percent,
                *[physics.flutter_random_percent / 6] * 6,
            ]
        )
        rates = self._rates.copy()
        wound_mm = max(0.0, self.position) / RATE * self._speed_mm_s
        grown = 4 * wound_mm * self._tape_um * 1e-3 / (np.pi * physics.reel_mm**2)
        rates[2] /= np.sqrt(1 + grown)
        start, end = depths, depths
        if physics.flutter_continuum_percent:
            before = self._depth_breath.now
            self._depth_breath.advance()
            self._rate_breath.advance()
            start, end = depths.copy(), depths.copy()
            start[:4] *= 1 + DEPTH_FLUCTUATION * before
            end[:4] *= 1 + DEPTH_FLUCTUATION * self._depth_breath.now
            rates[:4] *= 1 + RATE_FLUCTUATION * self._rate_breath.now
        turns = self._phases + 2 * np.pi * np.outer(_KNOT_S, rates)
        self._phases = turns[-1] % (2 * np.pi)
        moving = np.sin(turns)
        percent = moving @ start
        if end is not start:
            percent += (moving @ (end - start)) * (_KNOTS / CHUNK)
        percent += speed_percent
        if physics.flutter_continuum_percent or physics.speed_drift_percent:
            percent += self._irregular_percent(physics)
        speed = np.interp(_MOMENTS, _KNOTS, 1 + percent / 100)
        if physics.flutter_scrape_percent:
            scrape = self._white.standard_normal(CHUNK)
            band_pass(scrape, self._scrape, self._scrape_state)
            speed += physics.flutter_scrape_percent / 100 * self._scrape_gain * scrape
        positions = self.position + np.concatenate(([0.0], np.cumsum(speed)))
        self.position = float(positions[-1])
        return positions

    def _irregular_percent(self, physics: MachinePhysics) -> Floats:
        """Speed error from the continuum and from drift at the knots, %."""
        rms = np.repeat((physics.flutter_continuum_percent, physics.speed_drift_percent), self._corner_counts)
        rms = rms / np.sqrt(np.repeat(self._corner_counts, self._corner_counts))
        out = np.empty(_KNOTS.size)
        out[0] = self._last_irregular
        white = self._white.standard_normal((_KNOTS.size - 1, rms.size))
        first_order_sum(white, self._keep, rms, self._irregular, out[1:])
        self._last_irregular = float(out[-1])
        return out

    def weave(self, physics: MachinePhysics, place_s: float) -> float:
        """Angle of the tape path at the end of the next chunk, minutes of arc.

        Args:
            physics: the machine's figures.
            place_s: position on the tape, seconds from its start.
        """
        self._weave.advance()
        new = max(0.0, min(1.0, 2 - 2 * place_s / NEW_TAPE_S))
        return float(physics.azimuth_weave_arcmin * (1 + new) * self._weave.now[0])


def _unit_gain(feedback: Floats) -> float:
    """The gain that restores unit variance to band-passed white noise, from the impulse response."""
    impulse = np.zeros(4096)
    impulse[0] = 1.0
    band_pass(impulse, feedback, np.zeros(4))
    return float(1 / np.sqrt(np.sum(impulse**2)))
