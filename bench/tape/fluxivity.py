"""Fluxivity and its ratios, which never hide by which method a flux was measured."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

FluxMethod = Literal["DIN", "ANSI"]

DIN_OVER_ANSI_DB = 0.75
"""The same tape reads so much higher by the DIN method: 20 lg(218/200). From memory."""
METHODS_UNCERTAINTY_DB = 0.15
"""Expanded (k = 2) uncertainty of that: 0.7 to 0.86 dB are all found. From memory."""


@dataclass(frozen=True, slots=True)
class Fluxivity:
    """Recorded short-circuit flux per unit of track width, with its measuring method."""

    nwb_m: float
    """nWb/m, rms."""
    method: FluxMethod

    def __str__(self) -> str:
        return f"{self.nwb_m:g} nWb/m ({self.method})"


def ratio_db(flux: Fluxivity, reference: Fluxivity) -> float:
    """How far a fluxivity lies above another of the same measuring method: 20 lg(φ/φref), dB.

    Raises:
        ValueError: the methods differ. Convert one with `by_method` first, and say so.
    """
    if flux.method != reference.method:
        raise ValueError(f"{flux} and {reference} are by different methods: convert one, and say so")
    return 20 * math.log10(flux.nwb_m / reference.nwb_m)


def by_method(flux: Fluxivity, method: FluxMethod) -> tuple[Fluxivity, float]:
    """The same flux as another method gives it, and the expanded (k = 2) uncertainty that this adds, dB.

    200 nWb/m by ANSI S4.6 (short-circuit, calibrated ring head) is about 218 by DIN (open-circuit head). From
    memory: no figure of a standard is behind it.
    """
    if flux.method == method:
        return flux, 0.0
    step = DIN_OVER_ANSI_DB if method == "DIN" else -DIN_OVER_ANSI_DB
    return Fluxivity(flux.nwb_m * 10 ** (step / 20), method), METHODS_UNCERTAINTY_DB
