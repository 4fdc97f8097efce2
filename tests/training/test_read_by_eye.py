"""What unattended hands read from instruments."""

from __future__ import annotations

from random import Random

import pytest

from bench.training.read_by_eye import Eye


@pytest.mark.parametrize(
    ("figure", "unit", "division"),
    # A voltmeter of four digits; a tenth of a decibel between the divisions of a meter: common practice, no source.
    [(120.0, "mV", 0.1), (580.0, "mV", 0.1), (0.975, "V", 0.0001), (0.0, "dB", 0.1), (50.0, "g·cm", 1.0)],
)
def test_readings_scatter_by_the_resolution_of_the_instrument(figure: float, unit: str, division: float) -> None:
    eye = Eye(Random(3))
    read = [float(eye.read(figure, unit)) for _ in range(200)]
    assert {round((r - figure) / division) for r in read} == {-1, 0, 1}
    assert sum(read) / len(read) == pytest.approx(figure, abs=division / 5)
    assert all((r / division) == pytest.approx(round(r / division)) for r in read)


@pytest.mark.parametrize(("figure", "unit"), [(440.0, "Hz"), (250.0, "nWb/m"), (0.05, "%")])
def test_what_is_known_is_typed_as_it_is(figure: float, unit: str) -> None:
    assert float(Eye().read(figure, unit)) == figure
