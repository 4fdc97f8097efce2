"""The roughness of four grades of machine and tape. From memory and common practice, no source."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np


@dataclass(frozen=True)
class Grade:
    """The long-run magnitude of everything that a tape adds to a tone."""

    name: str
    level_db: float
    """Level instability, 0.2 to 10 Hz, dB rms."""
    contact_db: float
    """Additional level instability at 10 kHz, dB rms; it is proportional to frequency."""
    slow_db: float
    """Level wander from 0.01 to 0.2 Hz, dB rms."""
    skirts_db: float
    """Modulation noise relative to the carrier, both sidebands together, dB."""
    dropouts_a_minute: float
    weave_us: float
    """Weave of the delay between the channels, 0.3 to 5 Hz, µs rms."""
    flutter_percent: float
    """Weighted, two-sigma."""
    drift_percent: float
    """Speed below 0.3 Hz, rms."""
    scrape_percent: float
    """Scrape flutter from 1.5 to 4.5 kHz, rms."""
    hiss_db: float
    """Relative to reference level, unweighted."""
    hum_db: float
    """Relative to reference level."""
    delay_us: float
    """Largest delay between the channels of a machine of this grade, as it comes in."""

    def drawn(self, rng: np.random.Generator) -> Grade:
        """Draw a machine of this grade: figures up to a third more or a quarter less, dB by up to 2 either way."""
        changes: dict[str, float] = {}
        for field in fields(self)[1:]:
            value = getattr(self, field.name)
            if field.name in ("skirts_db", "hiss_db", "hum_db"):
                changes[field.name] = value + rng.uniform(-2.0, 2.0)
            else:
                changes[field.name] = value * float(np.exp(rng.uniform(-0.29, 0.29)))
        return replace(self, **changes)  # type: ignore[arg-type]


GRADES = (
    Grade("38 cm/s", 0.05, 0.1, 0.02, -52.0, 0.3, 0.25, 0.03, 0.006, 0.02, -62.0, -72.0, 5.0),
    Grade("good cassette", 0.1, 0.15, 0.04, -50.0, 1.0, 0.6, 0.04, 0.02, 0.03, -57.0, -72.0, 12.0),
    Grade("average cassette", 0.25, 0.35, 0.1, -43.0, 6.0, 2.0, 0.09, 0.05, 0.05, -53.0, -65.0, 20.0),
    Grade("poor cassette", 0.55, 0.8, 0.2, -36.0, 30.0, 4.5, 0.2, 0.12, 0.1, -49.0, -58.0, 35.0),
)
