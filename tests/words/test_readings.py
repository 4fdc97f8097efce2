from __future__ import annotations

from bench.measure.reading import NoReading, Reading
from bench.measure.verdict import Verdict
from bench.words.readings import (
    judged_text,
    phase_of,
    phase_text,
    reading_name,
    reading_text,
    target_text,
    value_text,
    verdict_text,
)


def test_a_reading_is_said_with_its_uncertainty_and_unit() -> None:
    level = Reading("level", "left", -12.0432, 0.12)
    assert value_text(level) == "−12.04 ± 0.12"
    assert value_text(level, unit=True) == "−12.04 ± 0.12 dBFS"
    assert value_text(Reading("dropout_count", "left", 3.0, 0.0), unit=True) == "3"
    assert value_text(Reading("separation", "left", 52.06, 0.5, bound="at least")) == "at least 52.0 ± 0.50"


def test_no_reading_says_why() -> None:
    silent = NoReading("level", "left", "it is silent")
    assert value_text(silent) == "no reading"
    assert reading_text(silent) == "no reading, because it is silent"


def test_a_judged_reading_says_its_target_and_verdict() -> None:
    level = Reading("level", "left", -12.0432, 0.12)
    verdict = Verdict("in", -12.0, 0.5)
    assert judged_text(level, verdict) == "−12.04 ± 0.12 dBFS, target −12 ± 0.5: in"
    assert judged_text(level, None) == "−12.04 ± 0.12 dBFS"
    assert judged_text(level, Verdict("no reading", 0.0)) == "−12.04 ± 0.12 dBFS, target 0: no limit here"
    assert judged_text(NoReading("level", "left", "it is silent"), verdict) == "no reading, because it is silent"


def test_limits_and_bounds_are_said() -> None:
    erased = Reading("erasure", "left", 69.97, 0.0, bound="at least")
    said = judged_text(erased, Verdict("in", 60.0, limit="at least"))
    assert said == "at least 69.9 dB, target at least 60: in"
    clean = Reading("third_harmonic", "left", 0.000440744, 0.0, bound="at most")
    said = judged_text(clean, Verdict("in", 1.0, limit="at most"))
    assert said == "at most 0.000441 %, target at most 1: in"


def test_only_a_target_without_tolerance_has_no_limit_here() -> None:
    assert verdict_text(Verdict("no reading", 60.0, limit="at least")) == "no reading"
    assert verdict_text(Verdict("no reading", 0.0, 0.5)) == "no reading"
    assert verdict_text(Verdict("no reading", 0.0)) == "no limit here"


def test_targets() -> None:
    assert target_text(None) == "none"
    assert target_text(Verdict("in", -12.0, 0.5)) == "−12 ± 0.5"
    assert target_text(Verdict("in", 0.2)) == "0.2"
    assert target_text(Verdict("in", 43.48907, 12.0)) == "43.5 ± 12"  # read as found, and to be found again
    assert target_text(Verdict("in", -12.1937, 0.5)) == "−12.19 ± 0.5"
    assert target_text(Verdict("in", 8.143571, 0.5)) == "8.14 ± 0.5"
    assert target_text(Verdict("in", 60.0, limit="at least")) == "at least 60"


def test_what_was_measured() -> None:
    assert reading_name(Reading("response", "left", -0.4, 0.1, frequency_hz=10000.0)) == "response, left, 10 kHz"
    assert reading_name(Reading("azimuth_delay", "left-right", 3.0, 0.1)) == "azimuth, delay, left to right"


def test_the_phase_is_that_of_the_delay_at_the_tone() -> None:
    quarter = Reading("azimuth_delay", "left-right", -25.0, 0.1, frequency_hz=10000.0)
    assert phase_of(quarter) == (-90.0, 10000.0)
    assert phase_text(quarter) == "phase −90° at 10 kHz"
    far = Reading("azimuth_delay", "left-right", 60.0, 0.1, frequency_hz=10000.0)
    assert phase_text(far) == "phase −144° at 10 kHz, past half a period"
    assert phase_of(Reading("level", "left", -12.0, 0.1, frequency_hz=315.0)) is None
