"""The suggested test: what has not been examined, evidence that cleaning would remove, and what has to be repaired."""

from __future__ import annotations

from typing import Any

from bench.diagnosis.answer import Diagnosis, diagnose
from bench.diagnosis.next_test import NextTest
from bench.diagnosis.output.contract import case_of

TONES = (40.0, 125.0, 1000.0, 4000.0, 8000.0, 10000.0, 12500.0)


def flat(stage: str, **more: Any) -> list[dict[str, Any]]:
    at = {"stage": stage, "source": "record-replay", "quantity": "response", "unit": "dB", "uncertainty": 0.1}
    return [at | {"channel": c, "frequency_hz": hz, "value": 0.1} | more for hz in TONES for c in ("left", "right")]


def said(readings: list[dict[str, Any]], **more: Any) -> Diagnosis:
    case = case_of({"machine": {"heads": 3}, "readings": readings}, "case")
    return diagnose(case.machine, case.findings, {}, **more)


def measures(test: NextTest) -> bool:
    return bool(test.quantities)


def test_what_no_reading_could_show_is_worth_a_look() -> None:
    told = said(flat("before-cleaning"), possible=measures)
    assert told.nothing > 0.5
    assert told.next_test is not None
    assert told.next_test.parts[0] in told.not_looked_at


def test_the_reference_tape_waits_for_a_clean_machine() -> None:
    def on_reference(test: NextTest) -> bool:
        return test.reference_passes > 0

    assert said(flat("before-cleaning"), possible=on_reference).next_test is None
    told = said(flat("before-cleaning") + flat("after-cleaning"), possible=on_reference).next_test
    assert told is not None
    assert told.needs == ("the reference tape",)


def test_what_cleaning_took_away_is_gone_and_asks_for_nothing() -> None:
    thick = {"left": 0.9e-3, "right": 0.6e-3}
    dull = [r | {"value": -thick[r["channel"]] * r["frequency_hz"]} for r in flat("before-cleaning")]
    before, after = said(dull), said(dull + flat("after-cleaning"))
    assert before.next_test is not None
    assert (before.suspects[0].mended_by, before.suspects[0].gone) == ("clean", False)
    assert (after.suspects[0].mended_by, after.suspects[0].gone) == ("clean", True)
    assert after.next_test is None or after.next_test.remedy != "clean"


def test_a_sure_sign_comes_first() -> None:
    levels = [
        {"quantity": "level", "channel": c, "value": v, "unit": "dB", "frequency_hz": 315.0}
        for c, v in (("left", 0.0), ("right", -50.0))
    ]
    told = said([*levels, *flat("after-cleaning", channel="left")])
    assert told.next_test is not None
    assert told.next_test.remedy == "find the break"


def test_noise_of_a_clean_head_that_demagnetising_took_away_was_a_magnetised_head() -> None:
    def noisy(stage: str, noise: float, harmonic: float) -> list[dict[str, Any]]:
        at = {"stage": stage, "source": "record-replay"}
        return [
            at | {"quantity": quantity, "channel": c, "value": value, "unit": unit, "uncertainty": 0.2} | more
            for c in ("left", "right")
            for quantity, value, unit, more in (
                ("signal_to_noise", noise, "dB", {"method": "A-weighted rms"}),
                ("second_harmonic", harmonic, "%", {"frequency_hz": 400.0, "level_db": 0.0}),
            )
        ]

    magnetised = flat("before-cleaning") + noisy("before-demagnetising", 49.0, 1.3)
    before = said(magnetised).suspects[0]
    after = said(magnetised + flat("after-cleaning") + noisy("after-cleaning", 55.0, 0.15)).suspects[0]
    assert (before.name, before.gone) == ("magnetised-head", False)
    assert (after.name, after.gone) == ("magnetised-head", True)
    assert after.probability > 0.9


def test_an_erase_head_that_cleaning_put_right_is_named_from_what_was_read_before() -> None:
    def erased(stage: str, db: float, **more: Any) -> list[dict[str, Any]]:
        at = {"stage": stage, "source": "record-replay", "quantity": "erasure", "unit": "dB", "frequency_hz": 1000.0}
        return [at | {"channel": c, "value": db, "uncertainty": 1.0} | more for c in ("left", "right")]

    before = flat("before-cleaning") + erased("before-cleaning", 30.0)
    after = said(before + flat("after-cleaning") + erased("after-cleaning", 50.0, bound="at least")).suspects[0]
    assert (after.name, after.gone) == ("dirty-erase-head", True)
    assert after.probability > 0.9
    assert said(before).suspects[0].probability < 0.6  # weak erasure reads the same until then
