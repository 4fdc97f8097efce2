"""The question of a job is answered in one sentence, from the relevant readings."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from bench.measure.reading import Channel, NoReading, Reading
from bench.measure.stage import Stage
from bench.procedure.model.targets import Target, judge
from bench.procedure.state.answer import answer_to
from bench.procedure.state.journal import ReadingRecord
from tests.session.made_up import START

TOLERANCES = {
    "record_replay_level": 0.5,
    "response": 2.0,
    "encoding_error": 1.5,
    "decoding_error": 1.5,
    "heard_error": 3.0,
}
REFERENCES = {"response": "400 Hz"}
FIT = "Fit for noise reduction with this tape:"


def record(quantity: str, value: float | None, channel: Channel = "left", hz: float = 400.0) -> ReadingRecord:
    """A judged reading from record to replay, ± 0.1 dB."""
    reading = (
        NoReading(quantity, channel, "the tone did not come back", frequency_hz=hz)
        if value is None
        else Reading(quantity, channel, value, 0.1, frequency_hz=hz, reference=REFERENCES.get(quantity, ""))
    )
    verdict = judge(reading, Target(unit="dB", tolerance=TOLERANCES[quantity], source="common practice, no source"))
    return ReadingRecord("r1", "a", "left", True, "record-replay", reading, verdict, START, -20.0)


@pytest.mark.parametrize(
    ("records", "said"),
    [
        ([], f"{FIT} not known, because nothing was measured from record to replay."),
        (
            [record("record_replay_level", 0.1), record("response", -1.0, hz=8000.0)],
            f"{FIT} yes, level and response from record to replay are in.",
        ),
        (
            [record("record_replay_level", -1.1), record("response", -1.0, hz=8000.0)],
            f"{FIT} no, because record-to-replay level, left, 400 Hz is −1.10 ± 0.10 dB, target 0 ± 0.5.",
        ),
        (
            # In each channel, the reading with the largest error.
            [record("response", -3.0, hz=6300.0), record("response", -5.0, hz=8000.0)],
            f"{FIT} no, because response, left, 8 kHz is −5.00 ± 0.10 dB relative to 400 Hz, target 0 ± 2.",
        ),
        (
            [record("record_replay_level", 0.45)],
            f"{FIT} too close to call, because record-to-replay level, left, 400 Hz is 0.45 ± 0.10 dB, target 0 ± 0.5.",
        ),
        (
            [record("record_replay_level", None)],
            (
                f"{FIT} not known, because record-to-replay level, left, 400 Hz: "
                "no reading, because the tone did not come back."
            ),
        ),
        (
            # Readings of the reference tape say nothing about a recording.
            [record("record_replay_level", 0.0), replace(record("response", -9.0), source="reference tape")],
            f"{FIT} yes, level and response from record to replay are in.",
        ),
    ],
)
def test_fit_for_noise_reduction(records: list[ReadingRecord], said: str) -> None:
    assert answer_to("fit-for-noise-reduction", records) == said


@pytest.mark.parametrize(
    ("records", "said"),
    [
        ([], "Whether encoder and decoder are right is not known, because neither was measured."),
        (
            [record("encoding_error", 0.2), record("decoding_error", 0.1), record("record_replay_level", 1.8, "right")],
            (
                "The encoder and the decoder are right; record-to-replay level is not right, because "
                "record-to-replay level, right, 400 Hz is 1.80 ± 0.10 dB, target 0 ± 0.5."
            ),
        ),
        (
            [record("encoding_error", 3.0, hz=5000.0), record("record_replay_level", 0.0)],
            (
                "Record-to-replay level is right; the encoder is not right, because encoding error, left, 5 kHz is "
                "3.00 ± 0.10 dB, target 0 ± 1.5; the decoder was not measured."
            ),
        ),
    ],
)
def test_noise_reduction_itself(records: list[ReadingRecord], said: str) -> None:
    assert answer_to("noise-reduction-circuits", records) == said


def test_which_tape() -> None:
    a = replace(record("record_replay_level", 1.0), lot="blank A")
    b = replace(record("record_replay_level", 0.1), lot="blank B", step="b")
    assert answer_to("which-tape", [a, b]) == "Blank B fits best, by level."
    assert "fewer than two" in answer_to("which-tape", [a])
    assert answer_to("", [a, b]) == ""


def heard(lot: str, left: float, right: float) -> list[ReadingRecord]:
    pairs: list[tuple[Channel, float]] = [("left", left), ("right", right)]
    return [replace(record("heard_error", db, c, 10000.0), lot=lot, step=lot) for c, db in pairs]


def test_where_no_tape_is_in_the_answer_says_so_first() -> None:
    one_sided = [*heard("blank A", -7.8, -17.0), *heard("blank B", -5.9, -15.7)]
    said = answer_to("which-tape", one_sided)
    assert said.startswith(
        "No tape is in on this machine as it is. Blank B fits best, by noise reduction. All are worse"
    )
    assert "in the right channel, by more than 2 dB, so the fault is in the machine" in said
    both = [*heard("blank A", -7.8, -7.0), *heard("blank B", -5.9, -6.0)]
    assert answer_to("which-tape", both).endswith("Blank B fits best, by noise reduction.")
    one_in = [*heard("blank A", -7.8, -17.0), *heard("blank B", -0.9, -0.2)]
    assert answer_to("which-tape", one_in) == "Blank B fits best, by noise reduction."


def azimuth(stage: Stage, value: float, target: float, step: str) -> ReadingRecord:
    reading = Reading("azimuth_delay", "left-right", value, 4.0)
    verdict = judge(reading, Target(unit="µs", value=target, tolerance=12.0, source="common practice, no source"))
    return ReadingRecord("r1", step, stage, True, "owner's tape", reading, verdict, START, lot="side A")


def test_the_azimuth_of_a_tape_from_elsewhere_as_found_and_as_set() -> None:
    found, was_set = azimuth("found-clean", -42.7, 0.0, "found-a"), azimuth("left", -1.0, 0.0, "set-a")
    returned = azimuth("left", -38.1, -42.7, "returned")
    polarity = replace(found, reading=Reading("polarity", "left-right", 180.0, 0.0), verdict=None)
    name = "azimuth, delay, left to right, side A"
    level = "level: not known, because no tone of known flux was read"
    assert answer_to("foreign-tape", [found, was_set, returned]) == (
        f"This tape, replayed here: {name}: −42.7 ± 4.0 µs as found, −1.0 ± 4.0 µs as set for the transfer; {level}."
    )
    assert answer_to("foreign-tape", [found, polarity]) == (
        f"This tape, replayed here: {name}: −42.7 ± 4.0 µs; one channel inverted on side A; {level}."
    )


def test_whether_a_check_tape_can_be_used() -> None:
    level, response = record("record_replay_level", 0.1), record("response", -1.0, hz=8000.0)
    proof = replace(record("response", 0.3), source="reference tape")
    asked, figures = "Fit for daily checks on this machine:", "Record-to-replay level, left, 400 Hz: 0.10 ± 0.10 dB; "
    figures += "largest error of response: response, left, 8 kHz: −1.00 ± 0.10 dB."
    assert answer_to("check-tape", [proof, level, response]) == f"{asked} yes. {figures}"
    assert "if replay is right: the reference tape was not played" in answer_to("check-tape", [level, response])
    wrong = replace(record("response", -5.0, hz=8000.0), source="reference tape")
    assert answer_to("check-tape", [wrong, level, response]).startswith(
        f"{asked} no, because response, left, 8 kHz is −5.00"
    )
    assert answer_to("check-tape", []) == f"{asked} not known, because nothing was recorded on it."


def test_an_interface_in_short() -> None:
    clock = replace(record("response", 0.0), reading=Reading("clock_error", "both", 18.0, 1.0, frequency_hz=10000.0))
    said = answer_to("interface", [clock, record("response", -0.171), record("response", 0.02, "right")])
    assert said == "This interface: clock error, both, 10 kHz: 18.0 ± 1.0 ppm; response within 0.18 dB."
    assert answer_to("interface", []) == "Nothing of this interface was measured."


def test_which_parts_are_due_after_a_repair() -> None:
    replay = replace(record("response", -3.0, hz=8000.0), source="reference tape")
    assert answer_to("after-repair", [replay, record("record_replay_level", 0.1)]) == (
        "Due for work: replay, because response, left, 8 kHz is −3.00 ± 0.10 dB relative to 400 Hz, target 0 ± 2. "
        "What the repair itself moved shows in a comparison with a session from before it."
    )
    assert answer_to("after-repair", [record("record_replay_level", 0.1)]).startswith("No part of a line-up is due")
    assert answer_to("after-repair", []) == "What the repair moved is not known, because nothing was measured."


def test_the_reading_that_is_farthest_out_is_named() -> None:
    """By its own tolerance: 1.6 dB at ±0.5 is farther out than 2.2 dB at ±1.5."""
    near = record("response", 1.57, hz=2000.0)
    target = Target(unit="dB", tolerance=0.5, source="common practice, no source")
    near = replace(near, verdict=judge(near.reading, target))
    said = answer_to("fit-for-noise-reduction", [near, record("response", 2.3, hz=8000.0)])
    assert "because response, left, 2 kHz is 1.57" in said


@pytest.mark.parametrize("value", [0.1, 2.7, -0.5, None])
def test_every_figure_of_an_answer_is_that_of_a_reading(value: float | None) -> None:
    r = record("record_replay_level", value)
    said = answer_to("fit-for-noise-reduction", [r]).replace("−", "-")
    figures = [float(found) for found in re.findall(r"-?\d+\.\d\d(?= ±)", said)]
    assert figures == ([value] if r.verdict and r.verdict.word in ("out", "too close to call") else [])
