from __future__ import annotations

from bench.measure.reading import UNITS
from bench.words.names import QUANTITIES


def test_every_quantity_has_a_name() -> None:
    assert set(QUANTITIES) == set(UNITS)
