"""What a person reads from an instrument: the figure with the scatter of its resolution."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

DIVISIONS = {"dB": 0.1, "g·cm": 1.0, "N": 0.02}
"""Finest difference that is read from a meter's needle or a tension gauge. Common practice, no source."""
DIGITS = {"mV": 4, "V": 4}
"""Digits that a voltmeter shows."""


@dataclass(slots=True)
class Eye:
    """Reads instruments to within one division, or one unit of the last digit; other figures are known, not read."""

    chance: random.Random = field(default_factory=lambda: random.Random(1))

    def read(self, figure: float, unit: str) -> str:
        """The figure as it is read, to be typed."""
        if unit in DIGITS and figure:
            division = 10.0 ** (math.floor(math.log10(abs(figure))) + 1 - DIGITS[unit])
        elif unit in DIVISIONS:
            division = DIVISIONS[unit]
        else:
            return f"{figure:.9g}"
        return f"{division * round(figure / division + self.chance.uniform(-1.0, 1.0)) + 0.0:.9g}"
