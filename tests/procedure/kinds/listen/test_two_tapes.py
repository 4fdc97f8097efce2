"""Two reference tapes of a set that disagree by more than their uncertainties."""

from __future__ import annotations

import pytest

from bench.measure.reading import NoReading, Reading, Result
from bench.measure.verdict import Verdict
from bench.procedure.kinds.bench import JudgedReading
from bench.procedure.kinds.listen.reference import _apart_db


def level(reading: Result, target: float) -> JudgedReading:
    return JudgedReading(reading, Verdict("in", target, 0.5, "test"), "reference tape")


def of(dbfs: float, uncertainty: float) -> Reading:
    return Reading("level", "left", dbfs, uncertainty, frequency_hz=400.0)


def test_errors_are_compared_and_not_levels() -> None:
    """Uncertainties of 0.25 and 0.29 dB (with a conversion of the flux) allow 0.38 dB."""
    high = level(of(-12.0, 0.25), -12.0)
    assert _apart_db(high, level(of(-13.5, 0.29), -13.19)) is None
    assert _apart_db(high, level(of(-13.7, 0.29), -13.19)) == pytest.approx(0.51)


def test_without_a_reading_nothing_is_compared() -> None:
    silent = level(NoReading("level", "left", "it was not heard"), -12.0)
    assert _apart_db(level(of(-12.0, 0.2), -12.0), silent) is None
