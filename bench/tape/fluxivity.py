"""Fluxivity and its ratios. A fluxivity always states its measuring method."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

FluxMethod = Literal["DIN", "ANSI"]

DIN_MINUS_ANSI_DB = 0.75
"""Reading of the same tape by the DIN method minus that by the ANSI method: 20 lg(218/200). From memory."""
METHOD_UNCERTAINTY_DB = 0.15
"""Its expanded uncertainty (k = 2): published figures range from 0.7 to 0.86 dB. From memory."""


@dataclass(frozen=True, slots=True)
class Fluxivity:
    """Recorded short-circuit flux per unit of track width, with its measuring method."""

    nwb_m: float
    """nWb/m, rms."""
    method: FluxMethod

    def __str__(self) -> str:
        return f"{self.nwb_m:g} nWb/m ({self.method})"


def ratio_db(flux: Fluxivity, reference: Fluxivity) -> float:
    """Level of a fluxivity relative to another by the same measuring method: 20 lg(φ/φref), dB.

    Raises:
        ValueError: the methods differ. Convert one with `convert_method` first.
    """
    if flux.method != reference.method:
        raise ValueError(f"{flux} and {reference} are by different methods: convert one")
    return 20 * math.log10(flux.nwb_m / reference.nwb_m)


def convert_method(flux: Fluxivity, method: FluxMethod) -> tuple[Fluxivity, float]:
    """The same flux by another measuring method, and the expanded uncertainty (k = 2) of the conversion, dB.

    200 nWb/m by ANSI S4.6 (short-circuit, calibrated ring head) is about 218 nWb/m by DIN (open-circuit head). From
    memory; no standard gives this ratio.
    """
    if flux.method == method:
        return flux, 0.0
    step = DIN_MINUS_ANSI_DB if method == "DIN" else -DIN_MINUS_ANSI_DB
    return Fluxivity(flux.nwb_m * 10 ** (step / 20), method), METHOD_UNCERTAINTY_DB
