"""The long-run noise readings of a rough tape, computed from its known spectrum."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.rough_tape.machine import Machine
from tests.rough_tape.spectra import Spectrum

Floats = NDArray[np.float64]

HZ = np.geomspace(20.0, 20000.0, 4000)
LINES = np.arange(1, 8)
"""Harmonics of hum."""
POLES_HZ = (20.598997, 107.652649, 737.862231, 12194.217148)
"""Poles of A-weighting: IEC 61672-1, annex E."""
AVERAGE = 0.886
"""A rectified average, scaled to read the rms of a sine, shows this fraction of the rms of Gaussian noise: √π/2."""


def noise_dbfs(machine: Machine, rate: float) -> dict[str, float]:
    """Noise by method, dB re a full-scale sine, without hum where the method hardly responds to it.

    Args:
        machine: the machine.
        rate: samples a second of the capture.
    """
    top = min(20000.0, 0.5 * rate)
    hiss = Spectrum(machine.hiss, 20.0, top, 10.0 ** ((machine.reference_dbfs + machine.grade.hiss_db - 3.0) / 20.0))
    density = hiss.density(HZ)

    def heard(response: Floats) -> float:
        return float(np.trapezoid(density * response**2, HZ))

    return {
        "A-weighted rms": 10.0 * float(np.log10(2.0 * heard(a_weighting(HZ)))),
        "2 kHz average-responding": 10.0 * float(np.log10(2.0 * AVERAGE**2 * heard(itu_r_468(HZ) / itu_2k()))),
    }


def a_weighting(hz: Floats) -> Floats:
    """IEC 61672-1, annex E: 1 at 1 kHz."""
    f1, f2, f3, f4 = POLES_HZ
    size = f4**2 * hz**4 / ((hz**2 + f1**2) * np.sqrt(hz**2 + f2**2) * np.sqrt(hz**2 + f3**2) * (hz**2 + f4**2))
    return np.asarray(size * 10.0 ** (2.0 / 20.0))


def itu_r_468(hz: Floats) -> Floats:
    """Polynomial fit to the weighting of Recommendation ITU-R BS.468-4 (1 at 1 kHz)."""
    h1 = -4.737338981378384e-24 * hz**6 + 2.043828333606125e-15 * hz**4 - 1.363894795463638e-7 * hz**2 + 1.0
    h2 = 1.306612257412824e-19 * hz**5 - 2.118150887518656e-11 * hz**3 + 5.559488023498642e-4 * hz
    return np.asarray(1.246332637532143e-4 * hz / np.sqrt(h1**2 + h2**2) * 10.0 ** (18.239 / 20.0))


def itu_2k() -> float:
    """The weighting at 2 kHz, where an average-responding meter is set to 0 dB."""
    return float(itu_r_468(np.array([2000.0]))[0])
