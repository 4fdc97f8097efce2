"""Four grades of machine, from a studio recorder to a poor cassette deck, as figures of the practice machine.

A grade gives the figures of `MachinePhysics` that a sheet does not set. All figures are common practice, no source.
"""

from __future__ import annotations

from bench.practice.facts import Table

GRADES: dict[str, Table] = {
    "none": {},
    "studio": {
        "level_wander_db": 0.05,
        "contact_wander_db": 0.1,
        "slow_wander_db": 0.02,
        "replay_modulation_noise_db": -52.0,
        "tape_dropouts_per_minute": 0.3,
        "azimuth_weave_arcmin": 0.07,
        "flutter_capstan_percent": 0.0125,
        "flutter_pinch_roller_percent": 0.01,
        "flutter_reel_percent": 0.0125,
        "flutter_continuum_percent": 0.016,
        "flutter_scrape_percent": 0.02,
        "speed_drift_percent": 0.006,
        "hum_db": -72.0,
    },
    "good": {
        "level_wander_db": 0.1,
        "contact_wander_db": 0.15,
        "slow_wander_db": 0.04,
        "replay_modulation_noise_db": -50.0,
        "tape_dropouts_per_minute": 1.0,
        "azimuth_weave_arcmin": 0.11,
        "shell_seating_arcmin": 0.5,
        "flutter_capstan_percent": 0.017,
        "flutter_pinch_roller_percent": 0.017,
        "flutter_reel_percent": 0.03,
        "flutter_continuum_percent": 0.023,
        "flutter_scrape_percent": 0.03,
        "speed_drift_percent": 0.02,
        "hum_db": -72.0,
    },
    "average": {
        "level_wander_db": 0.25,
        "contact_wander_db": 0.35,
        "slow_wander_db": 0.1,
        "replay_modulation_noise_db": -43.0,
        "tape_dropouts_per_minute": 6.0,
        "azimuth_weave_arcmin": 0.36,
        "shell_seating_arcmin": 1.5,
        "flutter_capstan_percent": 0.04,
        "flutter_pinch_roller_percent": 0.04,
        "flutter_reel_percent": 0.06,
        "flutter_continuum_percent": 0.053,
        "flutter_scrape_percent": 0.05,
        "speed_drift_percent": 0.05,
        "hum_db": -65.0,
    },
    "poor": {
        "level_wander_db": 0.55,
        "contact_wander_db": 0.8,
        "slow_wander_db": 0.2,
        "replay_modulation_noise_db": -36.0,
        "tape_dropouts_per_minute": 30.0,
        "azimuth_weave_arcmin": 0.82,
        "shell_seating_arcmin": 3.0,
        "flutter_capstan_percent": 0.085,
        "flutter_pinch_roller_percent": 0.085,
        "flutter_reel_percent": 0.12,
        "flutter_continuum_percent": 0.117,
        "flutter_scrape_percent": 0.1,
        "speed_drift_percent": 0.12,
        "hum_db": -58.0,
    },
}
"""Figures by the name in a sheet's `practice.grade`. An azimuth weave of 0.36′ rms is 2 µs on a cassette, about 45°
peak to peak at 10 kHz."""

ALL_GRADES: Table = {"warm_up_db": 0.05, "hum_drift_db": 1.5, "bias_sharing": 0.08, "bias_leakage_db": -90.0}
"""Figures that all grades share."""

TAPE_WEAR: dict[str, dict[str, float]] = {
    "fresh": {"tape_dropouts_per_minute": 0.3, "contact_wander_db": 0.7, "slow_wander_db": 0.7},
    "usual": {},
    "worn": {"tape_dropouts_per_minute": 4.0, "contact_wander_db": 1.6, "slow_wander_db": 1.5},
}
"""Factors on figures of the grade, by the name in a sheet's `practice.tape_wear`."""


def grade_figures(grade: str, tape_wear: str) -> Table:
    """The figures of a grade with a tape of this wear."""
    if grade == "none":
        return {}
    factors = TAPE_WEAR[tape_wear]
    figures = {**GRADES[grade], **ALL_GRADES}
    return {key: value * factors.get(key, 1.0) if isinstance(value, float) else value for key, value in figures.items()}
