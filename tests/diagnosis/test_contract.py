"""The file of readings: what may be missing, what is refused in one sentence, and the contents of the answer."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from bench.cli import main
from bench.diagnosis.answer import diagnose
from bench.diagnosis.machine import machine_of
from bench.diagnosis.output.contract import as_json, case_of
from tests.diagnosis.other_readings import make


def reading(**more: Any) -> dict[str, Any]:
    usual = {"stage": "after-cleaning", "source": "reference-tape", "quantity": "response", "channel": "left"}
    return usual | {"frequency_hz": 10000, "value": -4.0, "unit": "dB", "uncertainty": 0.2} | more


def answer(data: dict[str, Any]) -> dict[str, Any]:
    case = case_of(data, "case.json")
    return as_json(diagnose(case.machine, case.findings, case.answers), case.ignored, case.machine.assumed)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{", "not JSON"),
        ("[]", "not a JSON object"),
        ('{"machine": 3}', "machine must be an object"),
        ('{"readings": 3}', "readings must be a list"),
        ('{"readings": [3]}', "readings[0] must be an object"),
        ('{"readings": [{}]}', "readings[0] has no quantity"),
        ('{"readings": [{"quantity": "level", "value": "x"}]}', "readings[0].value must be a number"),
        ('{"readings": [{"quantity": "level", "value": NaN}]}', "NaN is no figure"),
        ('{"machine": {"heads": 4}}', "machine.heads must be 2 or 3"),
        ('{"machine": {"heads": 2.5}}', "machine.heads must be 2 or 3"),
        ('{"machine": {"speed_mm_per_s": 9e5}}', "machine.speed_mm_per_s must be between 5 and 2000"),
        ('{"machine": {"equalisation_us": [1e-9]}}', "machine.equalisation_us must be two times"),
        ('{"machine": {"speed_mm_per_s": -1}}', "machine.speed_mm_per_s must be a number above 0"),
        ('{"machine": {"equalisation_us": "x"}}', "machine.equalisation_us must be two times"),
        ('{"answers": 1}', "answers must be an object"),
    ],
)
def test_what_cannot_be_is_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, told: str
) -> None:
    file = tmp_path / "case.json"
    file.write_text(text, encoding="utf-8")
    assert main(["diagnose", "--readings", str(file), "--json"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert told in err
    assert err.count("\n") == 1


def test_readings_of_two_machines_are_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one, other = (make(seed, causes)[0] for seed, causes in ((206, ("dirt-replay-head",)), (209, ("hum",))))
    file = tmp_path / "case.json"
    file.write_text(json.dumps(one | {"readings": one["readings"] + other["readings"]}), encoding="utf-8")
    assert main(["diagnose", "--readings", str(file), "--json"]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "give the readings of one machine" in err


def test_what_is_missing_is_assumed_and_said() -> None:
    told = answer({"readings": [reading()]})
    assert any("speed_mm_per_s" in a for a in told["assumed"])
    assert told["causes"]


def test_what_is_not_known_is_ignored_and_said() -> None:
    told = answer({"readings": [reading(), reading(quantity="warmth"), reading(stage="never"), reading(channel="up")]})
    assert [sentence.split(":")[0] for sentence in told["ignored"]] == ["readings[1]", "readings[2]", "readings[3]"]


@pytest.mark.parametrize(
    ("odd", "why"),
    [
        ({"unit": "furlong"}, "response is in dB, not in furlong"),
        ({"quantity": "azimuth_delay", "channel": "left-right", "unit": "ms"}, "azimuth_delay is in µs, not in ms"),
        ({"value": 1e8}, "beyond any machine"),
        ({"frequency_hz": 1e-9}, "no reading has a frequency of 1e-09 Hz"),
    ],
)
def test_what_no_machine_reads_is_ignored_and_said(odd: dict[str, Any], why: str) -> None:
    told = answer({"readings": [reading(**odd)]})
    assert told["causes"] == []
    (sentence,) = told["ignored"]
    assert why in sentence


def test_an_answer_that_is_no_word_is_ignored_and_said() -> None:
    assert answer({"answers": {"swab": ["brown"]}})["ignored"] == ["answers.swab: an answer is a word"]


@pytest.mark.parametrize(
    ("said", "cause"),
    [("Hiss, and my old tapes hum.", "hum"), ("The old music is heard under the new", "weak-erasure")],
)
def test_what_the_owner_says_is_evidence(said: str, cause: str) -> None:
    at = {"source": "record-replay", "channel": "left", "uncertainty": 1.0}
    doubtful = [
        reading(quantity="hum", value=-66, unit="dBFS", method="total", frequency_hz=50, **at),
        reading(quantity="erasure", value=56, frequency_hz=1000, **at),
    ]
    without, told = (
        {c["cause"]: c["probability"] for c in answer(d)["causes"]}
        for d in ({"readings": doubtful}, {"readings": doubtful, "answers": {"complaint": said}})
    )
    assert told[cause] > 1.5 * without[cause]


def test_a_reading_that_no_cause_explains_is_not_passed_over() -> None:
    told = answer({"readings": [reading(reference_hz=10000)]})
    assert told["outliers"] == [0]
    assert told["nothing"] == pytest.approx(told["not_in_list"], abs=0.05)


def test_a_reading_that_was_as_expected_at_another_stage_is_a_mistake() -> None:
    told = answer({"readings": [reading(reference_hz=10000), reading(reference_hz=10000, value=0, stage="as-left")]})
    assert told["outliers"] == [0]
    assert told["not_in_list"] < 0.1


def test_causes_for_which_other_readings_speak_do_not_read_alike() -> None:
    own: dict[str, Any] = {"source": "record-replay", "uncertainty": 1}
    separation = reading(quantity="separation", channel="left-right", driven="left", value=26, frequency_hz=1000, **own)
    hum = reading(quantity="hum", value=-50, method="total", frequency_hz=50, **own)
    told = answer({"readings": [separation, separation | {"driven": "right"}, hum, hum | {"channel": "right"}]})
    like = {c["cause"]: c["like"] for c in told["causes"] if c["probability"] > 0.2}
    assert like == {"poor-separation": [], "hum": []}


@pytest.mark.parametrize(("bound", "likely"), [(None, True), ("at least", False)])
def test_a_lower_limit_of_erasure_is_no_fault(bound: str | None, likely: bool) -> None:
    at = {"source": "record-replay", "quantity": "erasure", "frequency_hz": 1000}
    told = answer({"readings": [reading(value=40, channel=c, bound=bound, **at) for c in ("left", "right")]})
    weak = next(c["probability"] for c in told["causes"] if c["cause"] == "weak-erasure")
    assert (weak > 0.2) is likely


@pytest.mark.parametrize(("answer_", "least", "most"), [("seen", 0.2, 0.6), ("not seen", 0.0, 0.01)])
def test_an_answer_counts_where_no_reading_shows_the_cause(answer_: str, least: float, most: float) -> None:
    level = [reading(quantity="level", value=0.0, frequency_hz=315, channel=c) for c in ("left", "right")]
    told = answer({"readings": level, "answers": {"belt": answer_}})
    assert "belt" not in told["not_looked_at"]
    assert least <= sum(c["probability"] for c in told["causes"] if c["cause"] == "belt") <= most


def test_two_channels_without_level_are_dead() -> None:
    levels = [reading(quantity="level", frequency_hz=315, channel=c, value=-60) for c in ("left", "right")]
    told = answer({"readings": levels})
    assert (told["causes"][0]["cause"], told["causes"][0]["channel"]) == ("dead-channel", "both")


def test_no_control_character_of_a_file_reaches_the_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "case.json"
    file.write_text(json.dumps({"readings": [reading(quantity="\x1b[2Jx", id="\x1b[2J")]}), encoding="utf-8")
    assert main(["diagnose", "--readings", str(file)]) == 0
    assert "\x1b" not in capsys.readouterr().out


def test_no_readings_know_nothing() -> None:
    told = answer({})
    assert told["causes"] == []
    assert told["nothing"] < 0.5


def test_readings_that_cannot_both_be_true_are_named() -> None:
    told = answer({"readings": [reading(id="a", value=-4.0), reading(id="b", value=4.0)]})
    assert len(told["contradictions"]) == 1
    assert "a and b" in told["contradictions"][0]


def test_a_reading_of_both_channels_that_neither_agrees_with_is_named() -> None:
    each = [reading(id=c, channel=c, value=0.1) for c in ("left", "right")]
    told = answer({"readings": [*each, reading(id="both", channel="both", value=-20.0)]})
    assert told["contradictions"] == [
        "left and both are of the same thing, and read 0.10 and −20.00 dB: they can't both be true"
    ]
    assert answer({"readings": [*each, reading(channel="both", value=0.2)]})["contradictions"] == []


def test_readings_of_two_machines_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "case.json"
    file.write_text(json.dumps({"readings": [reading(machine="a"), reading(machine="b")]}), encoding="utf-8")
    assert main(["diagnose", "--readings", str(file)]) == 2
    assert "readings of 2 machines" in capsys.readouterr().err


def test_probabilities_are_of_one_whole() -> None:
    tones = (1000, 2000, 4000, 8000, 10000, 12500)
    readings = [reading(frequency_hz=f, channel=c, value=-5e-4 * f) for f in tones for c in ("left", "right")]
    told = answer({"machine": {"heads": 3}, "readings": readings})
    assert sum(s["probability"] for s in told["sets"]) <= 1.001
    assert told["nothing"] + told["not_in_list"] <= 1.0
    assert all(0 <= c["probability"] <= 1 for c in told["causes"])


def test_half_a_period_at_every_tone_is_an_inverted_channel() -> None:
    delays = [
        reading(quantity="azimuth_delay", channel="left-right", unit="µs", frequency_hz=f, value=5e5 / f + 3)
        for f in (1000, 3150, 10000)
    ]
    told = answer({"readings": delays})
    assert told["causes"][0]["cause"] == "inverted-channel"
    assert told["causes"][0]["probability"] > 0.9


def test_the_reading_that_shows_a_cause_directly_speaks_first_for_it() -> None:
    at: dict[str, Any] = {"source": "record-replay", "uncertainty": 0.5}
    told = answer(
        {
            "readings": [
                reading(quantity=quantity, value=value, channel=channel, frequency_hz=hz, **at)
                for channel in ("left", "right")
                for quantity, value, hz in (("signal_to_noise", 38.0, None), ("erasure", 32.0, 1000))
            ]
        }
    )
    weak = next(c for c in told["causes"] if c["cause"] == "weak-erasure")
    assert {*weak["for"][:2]} == {1, 3}
    assert 0 in weak["for"]


@pytest.mark.parametrize(("stage", "listed"), [("before-cleaning", True), ("after-cleaning", False)])
def test_what_cleaning_puts_right_need_not_be_looked_at_after_it(stage: str, listed: bool) -> None:
    level = [reading(quantity="level", value=0.1, frequency_hz=315, channel=c, stage=stage) for c in ("left", "right")]
    assert ("dirty-erase-head" in answer({"readings": level})["not_looked_at"]) is listed


def test_a_polarity_that_was_read_is_an_inverted_channel_and_leaves_the_delay() -> None:
    pair: dict[str, Any] = {"channel": "left-right"}
    polarity = reading(quantity="polarity", unit="degrees", value=180, frequency_hz=None, **pair)
    delay = reading(quantity="azimuth_delay", unit="µs", value=-7.4, **pair)
    told = answer({"readings": [polarity, delay]})
    assert told["causes"][0]["cause"] == "inverted-channel"
    (azimuth,) = (s for s in told["settings"] if s["setting"] == "replay-azimuth")
    assert azimuth["value"] == pytest.approx(-1.35, abs=0.4)  # −7.4 µs × 47.625 mm/s / 0.9 mm
    assert answer({"readings": [polarity | {"value": 0}, delay]})["causes"][0]["cause"] != "inverted-channel"


def test_phases_of_high_tones_lack_whole_periods() -> None:
    """70 µs is 252° at 10 kHz, which reads as −108°."""
    phases = {1000: 25.2, 3150: 79.4, 10000: -108.0}
    told = answer(
        {
            "readings": [
                reading(quantity="azimuth_phase", channel="left-right", unit="degrees", frequency_hz=hz, value=phase)
                for hz, phase in phases.items()
            ]
        }
    )
    assert "inverted-channel" not in [c["cause"] for c in told["causes"]]
    (azimuth,) = (s for s in told["settings"] if s["setting"] == "replay-azimuth")
    arcmin = 70e-6 * 47.625 / 0.9 * 60 * 180 / math.pi
    assert azimuth["value"] == pytest.approx(arcmin, abs=1.0)


def test_a_response_that_tilts_as_a_whole_is_no_cause_of_the_list() -> None:
    tones = (63, 125, 250, 500, 1000, 2000, 4000, 8000, 12500)
    tilted = [
        reading(frequency_hz=hz, value=1.4 * math.log2(hz / 315), channel=channel, source=source, reference_hz=315)
        for hz in tones
        for channel in ("left", "right")
        for source in ("reference-tape", "record-replay")
    ]
    assert answer({"readings": tilted})["not_in_list"] > 0.9


@pytest.mark.parametrize(("right", "evidence"), [(0.1, True), (None, False)])
def test_a_tone_that_noise_buries_in_one_channel_is_low_there(right: float | None, evidence: bool) -> None:
    at = {"stage": "before-cleaning", "source": "record-replay"}
    read = [
        reading(frequency_hz=hz, value=value, channel=channel, **at)
        for hz in (1000, 2000, 4000)
        for channel, value in (("left", -hz / 2000), ("right", 0.1))
    ]
    top = [reading(frequency_hz=12500, value=v, channel=c, **at) for c, v in (("left", None), ("right", right))]
    without, told = (
        next(c["probability"] for c in answer({"readings": some})["causes"] if c["cause"] == "dirt-replay-head")
        for some in ([*read, top[1]], [*read, *top])
    )
    assert (told > 1.3 * without) is evidence


def test_a_channel_without_level_is_dead() -> None:
    levels = [reading(quantity="level", frequency_hz=315, channel=c, value=v) for c, v in (("left", 0), ("right", -50))]
    told = answer({"readings": levels})
    assert (told["causes"][0]["cause"], told["causes"][0]["channel"]) == ("dead-channel", "right")


def test_the_tables_of_the_practice_machine_are_not_read() -> None:
    facts = {"heads": 3, "speed_mm_s": 47.625, "practice": {"replay_gap_um": 9.0, "replay_dirt_left_um": 3.0}}
    assert machine_of(facts, "sheet") == machine_of({k: v for k, v in facts.items() if k != "practice"}, "sheet")


def test_every_cause_stands_in_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    from bench.diagnosis.causes.table import CAUSES, WIRING

    with pytest.raises(SystemExit):
        main(["diagnose", "--help"])
    told = capsys.readouterr().out
    assert [name for name in (*(c.name for c in CAUSES), *WIRING) if name not in told] == []


def test_a_reading_speaks_for_each_of_the_causes_that_read_alike() -> None:
    lost = {1000: -0.9, 4000: -4.1, 8000: -8.3, 10000: -10.4}
    dull = [reading(stage="before-cleaning", frequency_hz=hz, value=db) for hz, db in lost.items()]
    right = [reading(stage="before-cleaning", channel="right", frequency_hz=hz, value=0.0) for hz in lost]
    told = answer({"readings": [*dull, *right]})
    first, second = told["causes"][:2]
    assert second["cause"] in first["like"]
    assert 3 in first["for"]
    assert 3 in second["for"]
